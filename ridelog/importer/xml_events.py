"""A log in XML as a stream of events, bounded: what no ride log needs is refused in a sentence."""

from xml.parsers import expat

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown, shown_name
from ridelog.importer.bounds import MAX_ELEMENTS, too_many

# GPX and TCX logs nest about eight deep; each open element costs memory. Own choice.
MOST_DEPTH = 200


class BoundedEvents:
    """A parser whose start, end and text events a format's reader takes.

    depth : how many elements are open, the present one included.

    UnreadableLogError if the document declares entities or attributes, nests more than MOST_DEPTH
    deep, or holds more elements than ridelog reads; ``kind`` is the format as the advice names it.
    """

    def __init__(self, name: str, kind: str) -> None:
        self.file, self._name, self._kind = name, shown_name(name), kind
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.EntityDeclHandler = self._refuse_entity
        self.parser.SkippedEntityHandler = self._refuse_skipped
        self.parser.AttlistDeclHandler = self._refuse_attribute
        self.depth = 0
        self._elements = 0

    def opened(self, name: str) -> None:
        """Count an element that begins."""
        self.depth += 1
        self._elements += 1
        if self._elements > MAX_ELEMENTS:
            raise too_many(self.file, "elements", MAX_ELEMENTS)
        if self.depth > MOST_DEPTH:
            self._refuse(
                "elements are nested too deeply", f"{self.depth:,} levels at {shown(name)}"
            )

    def read(self, data: bytes) -> tuple[str, int]:
        """Take a document; return why and in which line it breaks off, nothing and 0 if whole."""
        try:
            self.parser.Parse(data, True)
        except expat.ExpatError as error:
            return expat.ErrorString(error.code), error.lineno
        except (LookupError, UnicodeError, ValueError) as error:
            # An encoding that Python does not know, or that has more than one byte a letter.
            return str(error), 1
        return "", 0

    def _refuse(self, what: str, value: str) -> None:
        raise UnreadableLogError(
            f"{self._name}, line {self.parser.CurrentLineNumber}: {what} ({value}).",
            f"export the ride again as plain {self._kind}.",
        )

    def _refuse_entity(self, entity: str, *_details: object) -> None:
        self._refuse("the file declares an XML entity, which no ride log needs", shown(entity))

    def _refuse_attribute(self, element: str, *_details: object) -> None:
        # Each element would get all that are declared for it: work beyond the file's own size.
        self._refuse("the file declares attributes, which no ride log needs", shown(element))

    def _refuse_skipped(self, entity: str, _is_parameter: bool) -> None:
        self._refuse("the file uses an XML entity that it does not hold", shown(entity))
