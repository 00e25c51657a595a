"""Why a file can't be used, in the words people meet."""


class BadWorkbook(Exception):  # noqa: N818 -- the name people meet
    """A file that can't be read or written; the message is one sentence for a person, without its name."""


class ChangedMeanwhile(BadWorkbook):
    """The file is no longer what was read: it is left as it is now, and whoever read it may start again."""


def reason(error: OSError) -> str:
    """What the system says about an error, to be put into a sentence."""
    return (error.strerror or str(error)).lower()
