"""The errors that a person can mend: one clear sentence saying what is wrong and what to do."""


class LessonkitError(Exception):
    """Something the person can mend; the command line prints its one sentence and exits with status 1."""


class FootageError(LessonkitError):
    """The footage cannot be read, or holds no picture."""


class TableError(LessonkitError):
    """The playing surface cannot be found or told in the picture."""


class NotesError(LessonkitError):
    """The notes cannot be understood; the sentence names file and line."""


class FolderError(LessonkitError):
    """The lesson folder cannot be used or written."""


class SettingsError(LessonkitError):
    """lesson.toml or cuts.toml cannot be understood; the sentence names file and place."""


class VoiceError(LessonkitError):
    """The recording of the talk cannot be read, or does not fit the lesson; the sentence names the file."""
