"""Racers' notes in free text: every hazard by itself, then five labelled sets as a whole.

How independent the measure is: four of the sets have been developed on, so their scores show that nothing in them was
overlooked, and no more. The unread set (160 typical notes), by someone who had seen neither lexicon nor code, was never
read by who mended the reader, and only its totals are looked at: scored once, 92.0 % precision and 93.9 % recall on
danger, 96.7 % and 92.9 % on the rest, one note whose danger raised no alarm. So notes of strangers come out; the aim of
99 % with nothing missed is not reached on them. What the others scored before they were read: The first set
(development, 512 notes), written by someone who had not seen the lexicon: its unread half scored 76.8 % precision and
86.0 % recall on danger. The second (fresh, 416 notes), by someone who had seen neither lexicon nor code: 87.4 % and
96.5 % on danger, 90.3 % and 82.6 % on the rest, after its totals alone had been looked at some eight times; one label
of it was put right, as its head says. The third (320 notes), by someone who had seen neither, nor any other set's
notes, scored once before it was read: 90.1 % and 79.6 % on danger, 89.3 % and 81.9 % on the rest, 13 notes whose danger
raised no alarm; twelve of its short ones ('pepper') stand in another set too. So may a stranger's notes come out. The
fourth (made, in eighteen batches), by whoever mended the reader and so flattered: between 76 % and 98 % precision, 76 %
and 100 % recall on danger in the batches with many, as its head lists.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine_rules.estimate import estimate
from engine_rules.note_words import lexicon, tokens_of
from engine_rules.notes import DANGER, read_note
from engine_rules.session import advise
from engine_rules.words import word_lists
from tests.engine_rules.logbooks import GOOD_PLUG, GOOD_RUN, good_set, logbook, run, sign, v8
from tests.engine_rules.measured_notes import SETS, labelled_notes, measure

BANKS = {"L": (1, 3, 5, 7), "R": (2, 4, 6, 8)}
V8 = tuple(range(1, 9))
ALL = "12345678"


def seen(text: str, own: int | None = None) -> set[str]:
    """Every sign as 'kind word cylinders', such as 'specks few black 57'."""
    found: dict[str, str] = {}
    for cylinder, signs in read_note(text, V8, own, BANKS).signs.items():
        for one in signs:
            what = f"{one.kind} {one.word or f'{one.amount:g}'}"
            found[what] = found.get(what, "") + str(cylinder)
    return {f"{what} {cylinders}" for what, cylinders in found.items()}


def asked(text: str, own: int | None = None) -> list[str]:
    return [ask.phrase for ask in read_note(text, V8, own, BANKS).asks]


@pytest.mark.parametrize(
    ("text", "signs"),
    [
        # whose plug is meant
        ("5 lean 7 rich", {"said_mixture lean 5", "said_mixture rich 7"}),
        ("pepper on 7, lots on 5", {"specks few black 7", "specks many black 5"}),
        ("1-4 tan, 5 thru 8 grey", {"porcelain tan 1234", "porcelain grey 5678"}),
        ("1/3/5/7 tan 2/4/6/8 white", {"porcelain tan 1357", "porcelain white 2468"}),
        ("#2, #4: white", {"porcelain white 24"}),
        ("1, 3 and 5 sooty", {"porcelain sooty 135"}),
        ("seven peppered", {"specks few black 7"}),
        ("all but 3 tan, 3 wet", {"porcelain tan 1245678", "porcelain wet 3"}),
        ("all tan except for 6", {"porcelain tan 1234578"}),
        ("left bank tan, right bank tan except 6 white", {"porcelain tan 1234578", "porcelain white 6"}),
        ("7 wet, rest of the left bank tan", {"porcelain wet 7", "porcelain tan 135"}),
        ("corners fat, middles skinny", {"said_mixture rich 1278", "said_mixture lean 3456"}),
        ("odds grey evens tan", {"porcelain grey 1357", "porcelain tan 2468"}),
        ("1 tan thin ring, 2-4 same", {"porcelain tan 1234", "ring thin line 1234"}),
        ("pepper on 7, 5 too", {"specks few black 57"}),
        ("all tan, pepper on 7", {f"porcelain tan {ALL}", "specks few black 7"}),
        ("7. pepper, blue to the weld", {"specks few black 7", "strap_mark at weld 7"}),
        ("threads: none on 1-4, one on 5-8", {"threads none 1234", "threads one 5678"}),
        ("5 ok, 7 fat", {"said_mixture right 5", "said_mixture rich 7"}),
        ("5 ok", set()),
        # numbers that are no cylinder
        ("run 7: 3 wet", {"porcelain wet 3"}),
        ("88 deg, 60% humidity, DA 2900", set()),
        ("4th pass, 4 lean", {"said_mixture lean 4"}),
        # denials
        ("no pepper", {f"specks none {ALL}"}),
        ("no pepper, silver or cracks", {f"specks none {ALL}"}),
        ("no pepper except 7", {"specks none 1234568", "specks few black 7"}),
        ("no pepper but silver on 5", {f"specks none {ALL}", "specks bright 5"}),
        ("pepper gone on 7", {"specks none 7"}),
        ("pepper on 7, strap gone on 5", {"specks few black 7", "also_seen strap melted 5"}),
        # other runs, wishes, other people's cars
        ("7 had silver last run, now tan", {"porcelain tan 7"}),
        ("watch 7 for pepper", set()),
        ("if 3 shows silver pull the head", set()),
        ("guy next pit melted a piston", set()),
        ("silver car in the other lane", set()),
        ("glazed brake pads", set()),
        ("cracked a joke at the tower", set()),
        ("ground strap on the block burnt", set()),
        ("glitter in the oil", set()),
        ("wire wheel, hand is blistered", set()),
        # words that look back, and places that stand behind
        (
            "3 near the weld, 4 at the weld, both peppered",
            {
                "strap_mark near weld 3",
                "strap_mark at weld 4",
                "specks few black 34",
            },
        ),
        ("4 and 6 peppered, the other six tan", {"specks few black 46", "porcelain tan 123578"}),
        ("5 isnt lean, 7 is", {"said_mixture lean 7"}),
        ("2 is wet and so is 4", {"porcelain wet 24"}),
        ("rich left bank lean right bank", {"said_mixture rich 1357", "said_mixture lean 2468"}),
        ("right bank sooty, left tan", {"porcelain sooty 2468", "porcelain tan 1357"}),
        ("ring thin on the left, wide on the right", {"ring thin line 1357", "ring wide 2468"}),
        ("number 4 is hurt. strap burned off", {"also_seen strap melted 4"}),
        ("lean on everything except 2", {"said_mixture lean 1345678"}),
        ("pepper, #7", {"specks few black 7"}),
        ("specks 5 few 7 many", {"specks few black 5", "specks many black 7"}),
        ("one plug on the left bank has silver", {"specks bright 1357"}),
        ("none of the plugs show pepper except 7", {"specks none 1234568", "specks few black 7"}),
        ("pepper: none", {f"specks none {ALL}"}),
        ("pepper is gone from 7", {"specks none 7"}),
        ("pepper mostly gone on 5", {"specks few black 5"}),
        ("was lean, now fat", {f"said_mixture rich {ALL}"}),
        ("alum. on 3", {"specks bright 3"}),
        ("silver on 5 turned out to be antiseize", {"also_seen anti-seize 5"}),
        ("silver on 5, might just be dirt", {"specks bright 5"}),
        # dictated, typed in haste, written in another tongue
        (
            "lots of pepper on one lots of pepper on two and three has a few specks",
            {"specks many black 12", "specks few black 3"},
        ),
        ("seven and eight specks all over seven bubbled", {"specks many black 78", "porcelain blistered 7"}),
        ("number ate glazed", {"porcelain glazed 8"}),
        ("pepepr on 5 adn 7, strpa gone on 3", {"specks few black 57", "also_seen strap melted 3"}),
        ("3)pepper 5)tan", {"specks few black 3", "porcelain tan 5"}),
        ("strap's melted on 6", {"also_seen strap melted 6"}),
        ("electrode of mass is burned on 6", {"also_seen strap melted 6"}),
        ("hot lap at 16,000, peppered all over", {f"specks many black {ALL}"}),
        # still there
        ("pepper on 5 hasnt gone away", {"specks few black 5"}),
        ("cant get rid of the pepper on 5", {"specks few black 5"}),
        ("last time 5 had pepper, this time its worse", {"specks few black 5"}),
        ("never had silver on 5 before but got it now", {"specks bright 5"}),
        ("last time 5 had pepper, clean now", set()),
        ("nobody told me 5 had pepper", {"specks few black 5"}),
        ("no specks apart from a dusting on six", {f"specks none {ALL}", "specks few black 6"}),
        ("didnt lean it out as 5 was peppered", {"specks few black 5"}),
        ("Six's nose is cracked", {"porcelain cracked 6"}),
        ("5 silver, 3 maybe", {"specks bright 35"}),
        ("if it wasnt for the pepper on 5", {"specks few black 5"}),
        ("3 has pepper so does 5", {"specks few black 35"}),
        ("the boss reckons 3 has a touch of the measles", {"specks many black 3"}),
        ("nose fell off 3 on the bench", {"porcelain cracked 3"}),
    ],
)
def test_notes_of_a_run(text: str, signs: set[str]) -> None:
    assert seen(text) == signs


@pytest.mark.parametrize(
    ("text", "signs"),
    [
        (
            "tan, thin line, mark at bend, 2 thrds",
            {"porcelain tan", "ring thin line", "strap_mark at bend", "threads two"},
        ),
        ("fat ring", {"ring wide"}),
        ("fat", {"said_mixture rich"}),
        ("shell ring full, ring thin", {"shell_ring full", "ring thin line"}),
        ("7/8 turn", {"shell_ring 0.875"}),
        ("turn and a half", {"shell_ring 1.5"}),
        ("ring .030 wide", {"ring 0.762"}),
        ("1 mm ring on a 14mm plug", {"ring 1"}),
        ("2-3 threads", {"threads 2.5"}),
        ("3+ thrds", {"threads three"}),
        ("mark 60%", {"strap_mark 0.6"}),
        ("not quite at the bend", {"strap_mark short of bend"}),
        ("past bend almost to weld", {"strap_mark near weld"}),
        ("2 specks", {"specks few black"}),
        ("never seen so much pepper", {"specks many black"}),
        ("less pepper than last run", {"specks few black"}),
        ("shiny little dots", {"specks bright"}),
        ("shiny porcelain", {"porcelain glazed"}),
        ("not lean anymore", set()),
        ("almost tan, bit of soot", {"porcelain sooty"}),
        ("richer than friday", set()),
        ("glazed?? no, just wet", {"porcelain wet"}),
        ("a few grey metal balls", {"specks bright"}),
        ("flecks of aluminum", {"specks bright"}),
        ("black and silver specks", {"specks few black", "specks bright"}),
        ("slvr spcks, crckd prcln", {"specks bright", "porcelain cracked"}),
        ("mark hasnt quite made it to the bend", {"strap_mark short of bend"}),
        ("almost touching the weld", {"strap_mark near weld"}),
        ("a tan ring, porcelain white", {"porcelain white"}),
        ("2 turns of thread", {"threads two"}),
        ("base ring 3/4 of the way around", {"shell_ring three quarters"}),
        ("boot melted to the plug, porcelain tan", {"porcelain tan"}),
        ("strap maybe melted a hair", {"also_seen strap melted"}),
        ("glazd and blistrd", {"porcelain glazed", "porcelain blistered"}),
        ("silver car's color lol, its white", {"porcelain white"}),
    ],
)
def test_notes_of_a_plug(text: str, signs: set[str]) -> None:
    assert seen(text, 3) == {f"{one} 3" for one in signs}


@pytest.mark.parametrize(
    ("text", "phrases"),
    [
        ("pulled 2, all tan", ["pulled 2"]),
        ("took some out", ["took some out"]),
        ("pulled 2 deg", []),
        ("took 2 out of 7", []),
        ("up 2 sq", []),
        ("white no ring", ["white no ring"]),
        ("front two lean", ["front two lean"]),
        ("grey or white on 3", ["grey or white on 3"]),
        ("ring .100 up", ["ring .100 up"]),
        ("shut off at 1000", ["shut off at 1000"]),
        ("pepper on 3?", ["pepper on 3"]),
        ("no detonation", []),
        ("pepper on 5, its just carbon", ["pepper on 5, its just carbon"]),
        ("pulled 1 and 7", []),
        ("humidity down 2", []),
        ("pto side wet", ["pto side wet"]),
        ("7 burnt", ["7 burnt"]),
        ("silver flakes in the oil filter", ["silver flakes in the oil filter"]),
        ("silver on 5, might just be anti seize", ["silver on 5, might just be anti seize"]),
    ],
)
def test_what_may_mean_two_things_is_asked(text: str, phrases: list[str]) -> None:
    assert asked(text) == phrases


@pytest.mark.parametrize(
    ("text", "conduct"),
    [
        ("new plugs, clean cut", {"new_plugs": True, "clean_cut": True}),
        ("not a clean cut, idled back", {"clean_cut": False, "idled_after": True}),
        ("used plugs, spun, lifted", {"new_plugs": False, "lifted_or_spun": True}),
        ("never lifted", {}),
        ("need new plugs", {}),
        ("other lane spun", {}),
        ("new brake pads, bedded a new set", {}),
    ],
)
def test_how_the_run_was_made(text: str, conduct: dict[str, bool]) -> None:
    assert read_note(text, V8, None, BANKS).conduct == conduct


def test_doubt_lowers_certainty_and_danger_is_kept_and_asked() -> None:
    def certainty(text: str) -> float:
        return read_note(text, V8, 3, BANKS).signs[3][0].certainty

    assert 1.0 > certainty("lean") > certainty("a touch lean") > certainty("maybe lean") > 0.0
    assert certainty("maybe pepper") < certainty("pepper") and asked("maybe pepper", 3) == ["maybe pepper"]
    assert seen("one of them has a melted strap, order lost") == {f"also_seen strap melted {ALL}"}
    assert asked("one wet, rest tan") and not seen("one wet, rest tan")


def test_what_is_not_understood_is_listed() -> None:
    assert read_note("zorched on the flange, tan", V8, 3).left_alone == ("zorched on the flange",)


def test_the_lexicon_knows_only_words_of_the_columns() -> None:
    table, lists = lexicon().table, word_lists()
    meant = {(kind, word) for kind, words in table["signs"].items() for word in words}
    meant |= {
        tuple(sign.split(": "))
        for meanings in table["adjectives"].values()
        for sign in meanings.values()
        if sign not in ("", "good")
    }
    assert all(word in lists[kind].words for kind, word in meant)


def test_no_word_of_the_lexicon_is_mended_into_another() -> None:
    known = lexicon()
    words = {word for word in known.vocabulary if word.isalpha()} - set(known.spellings)
    assert [word for word in sorted(words) if tokens_of(word)[0].text != word] == []
    for word in ("copper", "popper", "started", "sliver", "paper", "leaner"):
        assert tokens_of(word)[0].text == word


WORDS = st.sampled_from(
    [*sorted(lexicon().vocabulary), *"0123456789.,;:?!/+-&#()%\n'’é", "1-4", ".100", "7/8", "xyzzy"]
)


@given(st.one_of(st.text(max_size=60), st.lists(WORDS, max_size=10).map(" ".join)), st.sampled_from([None, 3]))
@settings(max_examples=300, deadline=None)
def test_whatever_is_written_is_read(text: str, own: int | None) -> None:
    for cylinders, banks in ((V8, BANKS), ((1, 2, 3), {"": (1, 2, 3)})):
        reading = read_note(text, cylinders, own, banks)
        assert set(reading.signs) <= set(cylinders)
        assert all(0.0 < one.certainty < 1.0 for signs in reading.signs.values() for one in signs)
        assert all(ask.phrase in text for ask in reading.asks)


@pytest.mark.parametrize("kind_and_word", sorted(DANGER))
def test_a_doubted_word_of_danger_closes_every_way_and_warns(kind_and_word: tuple[str, str]) -> None:
    kind, word = kind_and_word
    of = v8()
    plugs = good_set(of)
    calm = run("1", of, GOOD_RUN, plugs)
    doubted = sign(kind, word, None, 0.3)
    struck = calm.readings[4]
    signs = (*(one for one in struck.signs if one.kind != kind), doubted)
    readings = tuple(replace(one, signs=signs) if one is struck else one for one in calm.readings)
    advice = advise(logbook(of, replace(calm, readings=readings)))
    assert advice.stage == "safety"
    assert any(caution.cylinder == 5 for caution in advice.cautions)
    assert advice.timing is None or advice.timing.new <= advice.timing.old
    assert all(jet.flow_pct >= 0.0 for jet in advice.jets)


def test_a_leaner_word_of_mixture_never_means_less_fuel() -> None:
    of = v8()
    for beside in ({}, {"strap_mark": "past bend"}, {"lambda_ratio": 0.9}, {"ring": "wide"}):
        means, flows = [], []
        for word in ("lean", "right", "rich"):
            plugs = {**good_set(of, said_mixture="right"), 5: {**GOOD_PLUG, **beside, "said_mixture": word}}
            log = logbook(of, run("1", of, GOOD_RUN, plugs))
            means.append(estimate(log, log.runs[0]).mean[:8])
            flows.append({jet.corner: jet.flow_pct for jet in advise(log).jets})
        assert all((lean <= rich + 1e-9).all() for lean, rich in pairwise(means))
        for leaner, richer in pairwise(flows):
            assert all(leaner.get(at, 0.0) >= richer.get(at, 0.0) for at in leaner.keys() | richer.keys())


@pytest.mark.parametrize(
    ("name", "danger", "rest", "unwarned"),
    [
        ("development", (0.99, 1.0), (0.985, 0.985), 0),
        ("fresh", (1.0, 1.0), (0.995, 0.995), 0),
        ("third", (1.0, 1.0), (0.99, 0.99), 0),
        ("unread", (0.9, 0.93), (0.96, 0.92), 1),
        ("made", (0.985, 0.99), (0.985, 0.99), 0),
    ],
)
def test_the_labelled_notes(name: str, danger: tuple[float, float], rest: tuple[float, float], unwarned: int) -> None:
    found = measure(name)
    print(f"\n{name}, {found.notes} notes: danger {found.danger}; rest {found.rest}; asks {found.asks}")
    print(f"notes of which a danger raised no alarm at all: {found.unwarned}")
    assert found.notes >= 160
    assert found.danger.precision >= danger[0] and found.danger.recall >= danger[1]
    assert found.rest.precision >= rest[0] and found.rest.recall >= rest[1]
    assert found.unwarned <= unwarned


def test_the_sets_share_no_note_but_short_ones() -> None:
    texts = {name: {note["text"].lower() for note in labelled_notes(name)} for name in (*SETS, "made")}
    for one, other in combinations(texts, 2):
        by_chance = 6 if {"third", "unread"} & {one, other} else 0  # words; their writers saw no other set
        assert all(len(text.split()) <= by_chance for text in texts[one] & texts[other])
