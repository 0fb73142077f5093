"""Read a log file into a Track: one format, one file each; content decides."""
