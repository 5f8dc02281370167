"""From overhead pool-table footage and timestamped notes to a captioned, chaptered straight-pool lesson."""

__version__ = "0.1.0"
