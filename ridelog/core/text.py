"""Text from logs and people that is shown again."""

import unicodedata

# Control and format characters, half surrogates, and what ends a line or a paragraph.
_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")


def clean(text: str, mark: str = "\N{REPLACEMENT CHARACTER}", keep: str = "") -> str:
    """Return a text that cannot steer a terminal: unseen characters become a visible mark.

    Parameters
    ----------
    text : str
        From a log, a file name or a form.
    mark : str
        What stands for each unseen character.
    keep : str
        Unseen characters that stay, such as line ends.
    """
    return "".join(
        mark if unicodedata.category(letter) in _UNSEEN and letter not in keep else letter
        for letter in text
    )
