"""The conductors that the words of a sheet name, and what is wrong with them: read exactly, or not at all. Pure.

A number is a conductor only if the words call it one ("pin 2", "conductor 3", "#2") or if it follows directly after
"open", "short" or "reversed"; further numbers only if "and", "to", a comma, a hyphen or a slash joins them to the
first. Words that deny or doubt, and anything with two possible meanings, are left as words. A contact may be called
by what it carries ("shield", "hot", "cold", or on a plug "tip", "ring", "sleeve"), and the shell by its name: such
names are returned in angle brackets, since only the wiring knows which contact it is.

>>> conductor_words("pin 2 open at b")
ConductorWords(what=<FaultClass.OPEN: 'open'>, names=('2',))
>>> conductor_words("pins 2 and 3 swapped").names, conductor_words("pin 2 to shell").names
(('2', '3'), ('2', '<shell>'))
>>> conductor_words("dead after 3 shows"), conductor_words("no short between 2 and 3")
(None, None)
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from service.kit.text import plain
from service.wiring.faults import ByReadings, FaultClass


@dataclass(frozen=True)
class ConductorWords:
    """The fault that the words name, and the conductors, in the order of the words.

    Only a reversed pair may name no conductors: then it is the pair of a cable that has only one.
    """

    what: ByReadings
    names: tuple[str, ...]


_WORDS: Mapping[ByReadings, str] = {
    FaultClass.OPEN: r"open|opens|dead|broken wire|broken(?= (?:pin|conductor|contact))"
    r"|no (?:signal|continuity|connection)",
    FaultClass.SHORT: r"short|shorts|shorted|touch|touches|touching|bridge|bridged",
    FaultClass.REVERSED_PAIR: r"reverse|reversed|swapped|inverted|polarity|out of phase",
}
_DIRECT = {
    FaultClass.OPEN: r"opens?(?: circuit)?",
    FaultClass.SHORT: r"shorts?(?: circuit)?|shorted",
    FaultClass.REVERSED_PAIR: r"reversed?|swapped|inverted",
}
"""The words after which a number needs no noun. "Dead 3" and "broken wire 1" may be about anything."""

_AFTER_IT = {FaultClass.OPEN: r"|broken(?! off\b)|disconnected|detached|unsoldered"}
"""Further words for the fault after a name; without a name, "broken" may be about a boot."""
SHIELD, HOT, COLD, SHELL = "<shield>", "<hot>", "<cold>", "<shell>"
_CALLED = tuple(
    (name, re.compile(rf"(?:\bthe )?\b(?:{words})\b(?: (?:wires?|conductors?|contacts?|pins?|braid)\b(?! ?#? ?\d))?"))
    for name, words in (
        (SHIELD, r"shield(?:ing)?|screen|ground|sleeve"),
        (HOT, r"hot|tip"),
        (COLD, r"cold(?! (?:solder|joint))|ring"),
        (SHELL, r"(?:connector )?shells?|connector body"),
    )
)

_ANY_WORD = re.compile(rf"\b(?:{'|'.join(_WORDS.values())})\b")
_ROLE = re.compile(r" ?\((?:hot|cold|shield|screen|ground|tip|ring|sleeve)\b[^()]*\)")
_DENIED = re.compile(r"\b(?:no|not|never|none|nor|neither|without|ok|okay|good|fine|cannot|works?|passed)\b|n't\b")
_NOTHING_THROUGH = re.compile(r"\bno (?=(?:signal|continuity|connection)\b)")
_DOUBTED = re.compile(
    r"\b(?:or|may ?be|perhaps|possibly|probably|might|could|if|unless|when|while|sometimes|occasional\w*|times"
    r"|intermittent\w*|crackl\w*|wiggl\w*)\b|\?"
)

_NUMBER = r"(?:\d{1,2}(?:\.\d{1,2})?(?![\d'\"%]|\.\d)|<\w+>)"
_NOUN = r"(?:pin|conductor|contact)s?"
_FIRST = rf"(?:\b{_NOUN} ?(?:no\.? ?|#) ?|\b{_NOUN} ?|\bwires? ?# ?|(?:^|(?<=[,:.] ))# ?)"
# Each space can match at one position only, so that a long list does not cause exponential backtracking.
_JOIN = r" ?(?:,(?: ?and\b)?|/|-|&|\band\b|\bto\b) ?"
_MORE = rf"(?:{_JOIN}(?:{_NOUN} ?)?(?:# ?)?{_NUMBER})*"
_NAMED = rf"(?P<names>{_FIRST}{_NUMBER}{_MORE})"
_BARE = rf"(?P<names>(?:{_NOUN} ?)?(?:# ?)?{_NUMBER}{_MORE})"
_END = r"(?:the )?(?:end |side )?(?:a|b|female|male|socket|plug)(?: end| side)?"
_IS = rf"(?: ?[:=-]| (?:is|are|was|were|has|have|reads?|shows?|looks?|(?:at|on) {_END}),?)*"
_AT = r"(?: ?[:=-]| (?:circuit|at|on|of|from|between|in|for|with|conductors?|wires?))*"
_STOP = r"(?= ?(?:$|[,;:.!)(]| -|(?:at|on|end|side|together|are|is)\b))"
_NAMED_ELSEWHERE = re.compile(rf"\b{_NOUN} ?#? ?\d|#\d|<\w+>")
_TO_SHELL = re.compile(rf"{_NAMED}(?:,? (?:at|on) {_END})?")
_LOOSE_NUMBER = re.compile(r"(?<![\w/.:#-])\d{1,2}(?![\w/.:'\"%-])")
_RANGE = re.compile(r"(?:pin|conductor|contact)s ?#? ?(\d+) ?(?:-|to) ?#?(\d+)")


def _forms(what: ByReadings) -> tuple[re.Pattern[str], ...]:
    word, direct = rf"\b(?:{_WORDS[what]})\b", rf"\b(?:{_DIRECT[what]})\b"
    joined = rf"(?: (?:to|and|with) {_BARE.replace('names', 'more')})?" if what is FaultClass.SHORT else ""
    return (
        re.compile(rf"{_NAMED}{_IS} ?\b(?:{_WORDS[what]}{_AFTER_IT.get(what, '')})\b{joined}"),
        re.compile(rf"{word}{_AT} ?{_NAMED}{_STOP}"),
        re.compile(rf"{direct}(?: ?[:=]| between| from| on)? ?{_BARE}(?! (?:end|side)){_STOP}"),
    )


_FORMS = {what: _forms(what) for what in _WORDS}
_PAIR = re.compile(
    r"(?:reversed?|wrong|inverted|swapped|flipped) (?:polarity|pair)\b"
    r"|\bpolarity(?: is| was)? (?:reversed?|wrong|inverted|swapped|flipped)\b"
    r"|\bout of phase\b"
    r"|^(?:reversed|inverted|swapped)$"
    r"|^(?:the )?(?:pair|phase|hot and cold|tip and ring|conductor t and conductor r)(?: is| are| was| were)? "
    r"(?:reversed|inverted|swapped)\b"
)


def conductor_words(words: str) -> ConductorWords | None:
    """What a part of a fault cell says about conductors; None if it cannot be read exactly."""
    part = " ".join(_ROLE.sub("", plain(words).lower().replace("<", " ")).split()).rstrip(".! ")
    if _PAIR.search(part) is None:
        for name, called in _CALLED:
            part = called.sub(f"pin {name}", part)
    if denied(part) or _DOUBTED.search(part):
        return None
    matches = [(what, match) for what, forms in _FORMS.items() for match in _first(forms, part)]
    if len(matches) != 1:
        return None if matches else _pair(part) or _to_shell(part)
    what, match = matches[0]
    rest = f"{part[: match.start()]} | {part[match.end() :]}"
    names = _numbers(match)
    if _ANY_WORD.search(rest) or _NAMED_ELSEWHERE.search(rest) or _LOOSE_NUMBER.search(rest):
        return None  # it says more about conductors than was read
    if _is_range(match) or len(names) != len(set(names)):
        return None
    fits = {
        FaultClass.OPEN: len(names) == 1,
        FaultClass.SHORT: len(names) > 1,
        FaultClass.REVERSED_PAIR: len(names) == 2,
    }
    return ConductorWords(what, names) if fits[what] else None


def _to_shell(part: str) -> ConductorWords | None:
    """A contact that touches the shell, which is a short even without that word."""
    match = _TO_SHELL.fullmatch(part)
    names = _numbers(match) if match else ()
    return ConductorWords(FaultClass.SHORT, names) if len(names) == 2 and SHELL in names else None


def denied(part: str) -> bool:
    """Whether words in lower case deny a fault: "no short", "polarity ok". "No signal" does not."""
    return _DENIED.search(_NOTHING_THROUGH.sub("", part)) is not None


def _first(forms: tuple[re.Pattern[str], ...], part: str) -> Iterator[re.Match[str]]:
    """The match of the first form that matches the part."""
    for form in forms:
        if match := form.search(part):
            yield match
            return


def _numbers(match: re.Match[str]) -> tuple[str, ...]:
    groups = match.groupdict()
    listed = " ".join(filter(None, (groups.get("names"), groups.get("more"))))
    return tuple(re.findall(r"\d{1,2}(?:\.\d{1,2})?|<\w+>", listed))


def _is_range(match: re.Match[str]) -> bool:
    """Whether two numbers may be a range: "pins 1-3"."""
    ends = _RANGE.search(match["names"])
    return ends is not None and abs(int(ends[2]) - int(ends[1])) > 1


def _pair(part: str) -> ConductorWords | None:
    """A reversed pair without numbers, if the part says nothing else."""
    alone = _PAIR.search(part) and not re.search(r"\d", part) and not _ANY_WORD.search(_PAIR.sub(" | ", part))
    return ConductorWords(FaultClass.REVERSED_PAIR, ()) if alone else None
