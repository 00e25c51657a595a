"""How much room a text takes, by the widths of the letters of Arial (the font metrics of Helvetica)."""

_SAME = {
    0.222: "ijl",
    0.278: " !,./:;I[\\]ft·",
    0.333: "()-`r",
    0.355: '"',
    0.389: "*",
    0.5: "Jckvsxyz",
    0.556: "#$?_0123456789Labdeghnopquàáâäèéêëìíòóôöùúûüñ",
    0.584: "+<=>~",
    0.611: "FTZß",
    0.667: "&ABEKPSVXYÄ",
    0.722: "CDHNRUwÜ",
    0.778: "GOQÖ",
    0.833: "Mm",
    0.889: "%",
    0.944: "W",
    1.015: "@",
    0.191: "'",
    0.334: "{}",
    0.26: "|",
    0.4: "°",
}
_EMS = {letter: width for width, letters in _SAME.items() for letter in letters}
_OTHER, _WHOLE = 0.78, 1.0  # of a letter not listed; of one that fills its square
_SQUARE = "\u2e80"  # the first of the signs that do
# Programs round each letter to dots of the screen, and other fonts are a little broader.
_SLACK = 1.02
_BOLD = 1.08


def lines(text: str, room: float, size: float, bold: bool = False) -> int:
    """How many lines a text takes when it is wrapped between words.

    room: width in points; size: of the letters in points.
    """
    em = size * _SLACK * (_BOLD if bold else 1.0)
    return sum(_paragraph(paragraph, max(room, em), em) for paragraph in text.split("\n"))


def _paragraph(text: str, room: float, em: float) -> int:
    count, used = 1, 0.0
    for word in text.split(" "):
        length = em * sum(map(_width, word))
        if used and used + length > room:
            count, used = count + 1, 0.0
        count += int(length // room)
        used += length % room + em * _EMS[" "]
    return count


def _width(letter: str) -> float:
    return _EMS.get(letter, _WHOLE if letter >= _SQUARE else _OTHER)
