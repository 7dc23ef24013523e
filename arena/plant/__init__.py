"""The physics and its kernel. Knows nothing of strategies, files or printing."""
