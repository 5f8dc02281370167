"""Writers of files: video, captions, chapters, report, tables, stills."""
