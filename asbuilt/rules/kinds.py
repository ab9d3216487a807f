"""Which words name a kind of component: whole words, the last known ones before the rest."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

_WORD = re.compile(r"[^\W_]+")

_ASIDE = frozenset(
    ["at", "behind", "beside", "by", "for", "from", "in", "near", "of", "on", "over", "to", "under", "with", "without"]
)
"""Words after which a kind says where or for what it is, not what it is: cleanout on the building sewer."""

Span = tuple[int, int]


@lru_cache(maxsize=16384)
def words_of(text: str) -> tuple[str, ...]:
    """Give the words of a text in small letters, each without the s of its plural; hyphens part words.

    Examples
    --------
    >>> words_of("Two-compartment  septic TANKS"), words_of("d-boxes")
    (('two', 'compartment', 'septic', 'tank'), ('d', 'box'))
    """
    return tuple(_singular(word) for word in _WORD.findall(text.casefold()))


def _singular(word: str) -> str:
    if word.endswith(("xes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if len(word) > 2 and word.endswith("s") and not word.endswith("ss") else word


@lru_cache(maxsize=65536)
def spans(phrase: str, kind: str) -> tuple[Span, ...]:
    """Give where a phrase stands in a kind, in words; "drain-field" and "drainfield" are the same.

    Examples
    --------
    >>> spans("well", "dwelling"), spans("well", "deep well"), spans("drain field", "old drainfield 2")
    ((), ((1, 2),), ((1, 2),))
    """
    wanted, words = _joined(phrase), words_of(kind)
    found = []
    for start in range(len(words)):
        joined, end = "", start
        while end < len(words) and len(joined) < len(wanted):
            joined, end = joined + words[end], end + 1
        if joined and joined == wanted:
            found.append((start, end))
    return tuple(found)


def holds(phrase: str, kind: str) -> bool:
    """Tell whether a phrase stands in a kind, word for word.

    Examples
    --------
    >>> holds("septic tank", "Two-compartment septic tank"), holds("tree", "street")
    (True, False)
    """
    return bool(spans(phrase, kind))


@dataclass(frozen=True, slots=True)
class Phrase:
    """One phrase by which a word of a rule is known."""

    text: str
    but_not: tuple[str, ...] = ()  #: it does not count where one of these stands on the same words

    def spans(self, kind: str) -> Iterator[Span]:
        """Give where it stands in a kind and counts."""
        hidden = [span for each in self.but_not for span in spans(each, kind)]
        for start, end in spans(self.text, kind):
            if not any(start < last and first < end for first, last in hidden):
                yield start, end


@dataclass(frozen=True, slots=True)
class Kinds:
    """What the words of a profile's rules mean: groups of phrases, and phrases that mean something else."""

    phrases: Mapping[str, tuple[Phrase, ...]]  #: by the word of a rule; a word that is not there means itself
    _told: dict[tuple[str, str], tuple[int, int] | None] = field(default_factory=dict, compare=False, repr=False)
    _ends: dict[str, int] = field(default_factory=dict, compare=False, repr=False)

    def closeness(self, word: str, kind: str) -> tuple[int, int] | None:
        """Tell how closely a word of a rule names a kind; None = not at all.

        Of all known phrases that stand in a kind the last says what it is, and those that end with it: a "sewer
        cleanout" is a cleanout, a "valve box" no valve, a "septic tank" a tank too. The longer phrase is closer, and of
        two as long the word of the rule itself before a phrase of its group.
        """
        if (word, kind) not in self._told:
            self._told[word, kind] = self._closeness(_folded(word), kind)
        return self._told[word, kind]

    def _closeness(self, own: str, kind: str) -> tuple[int, int] | None:
        last = self._end(kind)
        if own in self.phrases:
            found = [each.text for each in self.phrases[own] if any(end == last for _, end in each.spans(kind))]
        else:
            found = [own] if any(end >= last for _, end in spans(own, kind)) else []
        if not found:
            return None
        longest = max(map(_joined, found), key=len)
        return len(longest), int(longest == _joined(own))

    def known_as(self, kind: str) -> str | None:
        """Give the longest phrase that says what a kind is; None = it holds none that is known."""
        last, every = self._end(kind), self._every()
        return max((e.text for e in every if any(end == last for _, end in e.spans(kind))), key=_size, default=None)

    def _every(self) -> frozenset[Phrase]:
        return frozenset(each for phrases in self.phrases.values() for each in phrases)

    def _end(self, kind: str) -> int:
        """Give where the last known phrase of a kind ends; what is said after "on", "for" ... counts only alone."""
        if kind not in self._ends:
            found = [span for each in self._every() for span in each.spans(kind)]
            aside = next((k for k, word in enumerate(words_of(kind)) if k and word in _ASIDE), len(kind))
            named = [span for span in found if span[0] < aside]
            self._ends[kind] = max((end for _, end in named or found), default=0)
        return self._ends[kind]


def kinds_of(
    groups: Mapping[str, tuple[str, ...]], but_not: Mapping[str, tuple[str, ...]], words: Iterable[str]
) -> Kinds:
    """Put together what the words of rules mean.

    Parameters
    ----------
    groups
        By a word the phrases that it stands for; a phrase that is the word of another group stands for that group.
    but_not
        By a word the phrases that hide it: a "window well" is no well.
    words
        Those of the rules.
    """
    every = {_folded(word) for word in (*groups, *words)}
    return Kinds({word: tuple(dict.fromkeys(_expanded(word, groups, but_not, ()))) for word in every})


def _expanded(
    word: str, groups: Mapping[str, tuple[str, ...]], but_not: Mapping[str, tuple[str, ...]], above: tuple[str, ...]
) -> Iterator[Phrase]:
    hidden = but_not.get(word, ())
    for text in groups.get(word, (word,)):
        if text in groups and text != word and text not in above:
            for each in _expanded(text, groups, but_not, (*above, word)):
                yield Phrase(each.text, (*each.but_not, *hidden))
        else:
            yield Phrase(text, hidden)


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())


def _joined(text: str) -> str:
    return "".join(words_of(text))


def _size(text: str) -> int:
    return len(_joined(text))
