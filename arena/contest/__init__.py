"""Who wins, and how sure: runs, figures, standings, tuning, result folders."""
