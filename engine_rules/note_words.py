"""A note cut into words and marks, its spelling mended, and the longest phrases of notes.toml found in it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from itertools import groupby, product
from typing import Any

from rapidfuzz import process
from rapidfuzz.distance import OSA

from engine_rules.words import word_lists

WILD = ("{n}", "{d}", "{c}")
NUMBER_WORDS = {
    **{"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8},
    **{"nine": 9, "ten": 10, "eleven": 11, "twelve": 12},
}
COUNT_WORDS = frozenset((*NUMBER_WORDS, "couple", "some", "few", "bit", "little"))
ARTICLES = frozenset(("the", "a", "an"))
_PIECE = re.compile(
    r"(?<![^\W\d_])\d*\.\d+|\d+,\d+(?= ?mm)|\d{1,3},\d{3}(?!\d)|\d+(?:st|nd|rd|th)\b|\d+|\bw/o?(?![^\W\d_])"
    r"|[^\W\d_]+(?:['’][^\W\d_]+)*|\n|\.{2,}|[^\w\s]",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")
_DASHES = str.maketrans("−–—’`", "---''")
VOWELS = frozenset("aeiou")
TELLING = ("sign", "part", "adjective", "ask_sign", "place", "grain")
SHORTEST_MENDED = 5
SHORTEST_BEGUN = 4
LONG = 9
HEARD = {"ate": "eight", "won": "one", "for": "four", "fore": "four", "to": "two", "too": "two", "tree": "three"}
NAMED = ("cylinder", "cyl", "number", "hole", "plug", "#")
SURELY_HEARD = ("ate", "won", "fore", "tree")
SAYS = ("is", "was", "has", "had", "looks", "looked", "shows", "reads", "got")


@dataclass(frozen=True, slots=True)
class Token:
    """A word, number or mark in plain spelling, and where it stands in the note as written."""

    text: str
    start: int
    end: int

    @property
    def number(self) -> float | None:
        """Its value where it is a plain number."""
        return float(self.text) if self.text[0] in ".0123456789" and self.text[-1] in "0123456789" else None


@dataclass(frozen=True, slots=True)
class Item:
    """A phrase understood: tag says what it is, value what it means. start, end: its place in the note as written."""

    tag: str
    value: Any
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Phrase:
    """The words of a phrase ('{n}' is any number, '{d}' one with a point,
    '{c}' a number or such as 'a couple'), and what it stands for."""

    words: tuple[str, ...]
    tag: str
    value: Any


@dataclass(frozen=True, slots=True)
class Lexicon:
    """notes.toml, made ready. starting: first two words -> phrases, longest first. clipped: consonants -> word,
    where only one has them. turned: words told though two letters changed places. single: words that are a phrase
    by themselves. alone: those of them that tell something. grains: nouns for specks. table: the file itself.
    """

    starting: Mapping[tuple[str, str], tuple[Phrase, ...]]
    spellings: Mapping[str, str]
    mended: tuple[str, ...]
    clipped: Mapping[str, str]
    vocabulary: frozenset[str]
    alone: frozenset[str]
    turned: frozenset[str]
    single: Mapping[str, Phrase]
    grains: frozenset[str]
    table: Mapping[str, Any]


@cache
def lexicon() -> Lexicon:
    """The lexicon as shipped. Where two sections hold one phrase, the section named first in `_phrases` counts."""
    table = tomllib.loads(resources.files("engine_rules").joinpath("notes.toml").read_text("utf-8"))
    found: dict[tuple[str, ...], Phrase] = {}
    for phrase in _phrases(table):
        found.setdefault(phrase.words, phrase)
    starting: dict[tuple[str, str], list[Phrase]] = {}
    for phrase in sorted(found.values(), key=lambda one: -len(one.words)):
        starting.setdefault((phrase.words[0], (*phrase.words, "")[1]), []).append(phrase)
    vocabulary = frozenset(word for words in found for word in words)
    telling = {word for words, phrase in found.items() if phrase.tag in (*TELLING, "conduct") for word in words}
    return Lexicon(
        starting={first: tuple(phrases) for first, phrases in starting.items()},
        spellings=table["spellings"],
        mended=tuple(sorted(word for word in telling if len(word) > SHORTEST_MENDED)),
        clipped=_clipped(found.values()),
        vocabulary=vocabulary,
        turned=frozenset(word for word in (*telling, *NUMBER_WORDS) if len(word) >= SHORTEST_BEGUN),
        single={words[0]: phrase for words, phrase in found.items() if len(words) == 1},
        alone=frozenset(words[0] for words, phrase in found.items() if len(words) == 1 and phrase.tag in TELLING),
        grains=frozenset(word for words in table["grains"].values() for word in words),
        table=table,
    )


def _clipped(phrases: Iterable[Phrase]) -> Mapping[str, str]:
    meant: dict[str, dict[str, str]] = {}
    for phrase in phrases:
        word = phrase.words[0]
        if len(phrase.words) == 1 and word.isalpha() and phrase.tag in TELLING:
            for letters in (_consonants(word), _consonants(_undoubled(word))):
                meant.setdefault(letters, {}).setdefault(f"{phrase.tag} {phrase.value}", word)
    return {letters: next(iter(same.values())) for letters, same in meant.items() if len(same) == 1}


def _undoubled(word: str) -> str:
    return "".join(letter for letter, _ in groupby(word))


def _consonants(word: str) -> str:
    """What is left of a word where its vowels are dropped, and the c of ck."""
    return "".join(letter for letter in word.replace("ck", "k") if letter not in VOWELS)


def _phrases(table: Mapping[str, Any]) -> Iterator[Phrase]:
    for ask in table["ask"]:
        yield from _all(ask["phrases"], "ask", ask["why"])
    for ask in table["ask_sign"]:
        kind, word = ask["sign"].split(": ")
        yield from _all(ask["phrases"], "ask_sign", (kind, word, ask["why"]))
    for name, words in table["grains"].items():
        yield from _all(words, "grain", name)
    for ask in table["ask_nothing"]:
        yield from _all(ask["phrases"], "ask", ask["why"])
    for kind, words in table["signs"].items():
        for word, phrases in words.items():
            yield from _all(phrases, "sign", (kind, word))
    yield from _all(table["cutting"]["verbs"], "cut", "verb")
    yield from _all([one for one in table["cutting"]["clean"] if one not in table["words"]["empty"]], "cut", "clean")
    for key, answers in table["conduct"].items():
        for answer, phrases in answers.items():
            yield from _all(phrases, "conduct", (key, answer == "yes"))
    for part, phrases in table["parts"].items():
        yield from _all(phrases, "part", part)
    for word, meanings in table["adjectives"].items():
        yield from _all([word], "adjective", meanings)
    for name, phrases in table["places"].items():
        yield from _all(phrases, "place", name)
    for name, phrases in table["scope"].items():
        for phrase in phrases:
            yield from _all([phrase], name, phrase)
    for amount, phrases in table["amounts"].items():
        yield from _all(phrases, "amount", amount)
    for name, phrases in table["harmless"].items():
        yield from _all(phrases, "harmless", name)
        yield from _all([f"{phrase}s" for phrase in phrases if not phrase.endswith("s")], "harmless", name)
    yield from _all(table["clear"]["phrases"], "clear", None)
    yield from _all(table["neutral"]["phrases"], "neutral", None)
    yield from _all(table["words"]["breaks"], "break", None)
    yield from _of_columns()


def _of_columns() -> Iterator[Phrase]:
    """The columns' own words of several parts: what is added to words.toml is read in notes too."""
    for kind, words in word_lists().items():
        for like, word in words.likes.items():
            if (
                " " in like
                and not like.startswith("no ")
                and sum(like in other.likes for other in word_lists().values()) == 1
            ):
                yield from _all([" ".join(one.text for one in pieces(like))], "sign", (kind, word))


def _all(phrases: Sequence[str], tag: str, value: Any) -> Iterator[Phrase]:
    """The phrases; 'used|old plugs|set' is four of them, 'new plugs|' may lack its last word, and _ joins words."""
    for phrase in phrases:
        for choice in product(*(part.split("|") for part in phrase.split())):
            words = tuple(word for part in choice for word in part.split("_") if word and word not in ARTICLES)
            yield Phrase(words or choice, tag, value)


def pieces(text: str) -> list[Token]:
    """The words, numbers and marks of a text, in lower case, without apostrophes; spelling as it is."""
    found = []
    for match in _PIECE.finditer(text.translate(_DASHES)):
        text = match[0].lower().replace("'", "")
        # '16,000' is one number, as is the '0,8' of '0,8 mm'
        point = "" if _THOUSANDS.fullmatch(text) else "."
        found.append(Token(text.replace(",", point) if len(text) > 1 else text, match.start(), match.end()))
    return [one for one in found if one.text]


def tokens_of(text: str) -> list[Token]:
    """As `pieces`, with the spelling mended; '6th' of a cylinder as its number, 'specks (black)' without brackets."""
    found = pieces(text)
    named_by = lexicon().table["numbers"]["named_by"]
    for at, one in enumerate(found):
        if one.text[0].isdigit():
            ordinal = one.text[-1].isalpha() and at + 1 < len(found) and found[at + 1].text in named_by
            mended = one.text[:-2] if ordinal else one.text
        else:
            mended = _mend(_said_short(one) or _heard(found, at) or one.text)
        if mended != one.text:
            found[at] = Token(mended, one.start, one.end)
    if "(" not in text:
        return found
    bracketed = [at for at in range(2, len(found) - 1) if found[at - 1].text == "(" and found[at + 1].text == ")"]
    dropped = {side for at in bracketed if found[at - 2].text in lexicon().grains for side in (at - 1, at + 1)}
    return [one for at, one in enumerate(found) if at not in dropped]


def _said_short(one: Token) -> str | None:
    """The 'strap' of "strap's", which is short for 'strap is'; None for other words."""
    short = one.text.endswith("s") and one.end - one.start > len(one.text)
    base = one.text[:-1]
    return base if short and (base in lexicon().alone or base in NUMBER_WORDS) and base != "one" else None


def _heard(tokens: Sequence[Token], at: int) -> str | None:
    """The number of a cylinder that a dictation took for another word: 'cylinder ate is rich'."""
    behind = tokens[at + 1].text if at + 1 < len(tokens) else ""
    named = at > 0 and tokens[at - 1].text in NAMED
    sure = tokens[at].text in SURELY_HEARD or behind in SAYS
    return HEARD.get(tokens[at].text) if named and sure else None


@lru_cache(maxsize=20_000)
def _mend(word: str) -> str:
    """A word of the lexicon in place of its plural, of what has letters twice, too few, or one wrong in a long word."""
    known = lexicon()
    if word in known.spellings:
        return known.spellings[word]
    if word not in known.single and word not in _left_as_written():
        # 'straps', 'tannn'
        plural, typed_twice = word.removesuffix("s"), _undoubled(word)
        if len(plural) > 3 and plural in known.single and word not in known.vocabulary:
            return plural
        if len(typed_twice) > 2 and typed_twice in known.alone:
            return typed_twice
    if len(word) > 2 and word.isalpha() and word not in known.vocabulary and not VOWELS & set(word):
        bare = word.replace("ck", "k")
        return known.clipped.get(bare) or known.clipped.get(_undoubled(bare), word)
    if len(word) < SHORTEST_BEGUN or not word.isalpha() or word in known.vocabulary or word in _left_as_written():
        return word
    return _swapped(word) or _near(word) or _begun(word) or word


def _swapped(word: str) -> str | None:
    """The word of the lexicon that has two neighbouring letters the other way round: 'mrak', 'rihc'."""
    turned = {word[:at] + word[at + 1] + word[at] + word[at + 2 :] for at in range(len(word) - 1)}
    meant = sorted(turned & lexicon().turned)
    return meant[0] if len(meant) == 1 else None


def _near(word: str) -> str | None:
    """The word of the lexicon that stands within one or two edits, where one alone or one meaning does."""
    if len(word) < SHORTEST_MENDED:
        return None
    near = process.extract(word, lexicon().mended, scorer=OSA.distance, score_cutoff=2, limit=4)
    good = [
        (distance, meant)
        for meant, distance, _ in near
        if meant[0] == word[0] and distance <= (2 if len(meant) >= LONG else 1)
    ]
    best = min(good, default=None)
    one = best is not None and len({_alone(meant) for distance, meant in good if distance == best[0]}) == 1
    return best[1] if best is not None and one else None


def _begun(word: str) -> str | None:
    """The word that 'blist' and 'insul' begin, where all that they begin mean the same."""
    begun = sorted(one for one in lexicon().alone if one.startswith(word))
    return begun[0] if len({_alone(one) for one in begun}) == 1 else None


def _alone(word: str) -> str:
    """What the word means by itself; two spellings that may be meant are no choice where both mean the same."""
    phrase = lexicon().single.get(word)
    return word if phrase is None else f"{phrase.tag} {phrase.value}"


@cache
def _left_as_written() -> frozenset[str]:
    table = lexicon().table
    return frozenset((*table["words"]["empty"], *table["words"]["apart"]))


def phrase_at(tokens: Sequence[Token], at: int, refused: Callable[[Phrase, int], bool]) -> tuple[Phrase, int] | None:
    """The longest phrase that starts there and is not refused, and the place behind it."""
    known = lexicon().starting
    second = next((token for token in tokens[at + 1 : at + 4] if token.text not in ARTICLES), None)
    best: tuple[Phrase, int] | None = None
    for first in _met_by(tokens[at]):
        for following in (*_met_by(second), ""):
            for phrase in known.get((first, following), ()):
                if best is not None and len(phrase.words) <= len(best[0].words):
                    break
                behind = _fits(phrase.words, tokens, at)
                if behind is not None and not refused(phrase, behind):
                    best = phrase, behind
    return best


def _met_by(token: Token | None) -> Sequence[str]:
    """The words of phrases that a token meets."""
    if token is None:
        return ()
    return (token.text, *WILD) if token.number is not None or token.text in COUNT_WORDS else (token.text,)


def _is_number(token: Token, wild: str) -> bool:
    if wild == "{c}" and token.text in COUNT_WORDS:
        return True
    return token.number is not None and (wild != "{d}" or "." in token.text)


def _fits(words: Sequence[str], tokens: Sequence[Token], at: int) -> int | None:
    for place, word in enumerate(words):
        while place and at < len(tokens) and tokens[at].text in ARTICLES:
            at += 1
        if at >= len(tokens):
            return None
        token = tokens[at]
        if token.text != word and not (word in WILD and _is_number(token, word)):
            return None
        at += 1
    return at
