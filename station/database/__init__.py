"""Where orders, runs, sweeps and readings are kept."""
