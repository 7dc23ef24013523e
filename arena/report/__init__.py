"""What people look at: terminal, page, plots, JSON documents."""
