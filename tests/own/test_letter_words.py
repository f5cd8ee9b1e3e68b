"""Words files: found by whole language tags, checked, laid over the shipped ones; a sender or no letters."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from netplan.core.errors import BadInputError
from netplan.core.language_tags import lookup
from netplan.outputs.documents.letter_choice import choose_words
from netplan.outputs.documents.letter_words import LetterWords, read_words
from netplan.outputs.documents.letters import letters_pdf
from netplan.outputs.notice_list import notice_rows
from tests.support.letters import WORDS, spelt_words
from tests.support.plans import hamlet_result

SENDER = '[sender]\nsender = "Own Name & Co #1"\nphone = "0000 1"\nemergency = "0000 2"\n'
HEBREW = "אבגדהוזחטיכלמנסעפצקרשת"


def _folder(place: Path, **files: str) -> Path:
    place.mkdir(exist_ok=True)
    for tag, text in files.items():
        (place / f"words.{tag.replace('_', '-')}.toml").write_text(text, encoding="utf-8")
    return place


def _shipped_tables() -> dict[str, dict[str, Any]]:
    folder = resources.files("netplan.outputs").joinpath("templates")
    return {
        item.name.split(".")[1]: tomllib.loads(item.read_text(encoding="utf-8"))
        for item in folder.iterdir()
        if item.name.startswith("words.") and "-" not in item.name  # those of a region hold what differs
    }


def _lines(value: Any) -> list[str]:
    return [value] if isinstance(value, str) else list(value)


def test_every_shipped_language_has_the_same_keys_and_the_same_names_in_braces() -> None:
    tables = _shipped_tables()
    assert set(tables) >= {"en", "de", "pl"}
    model = tables["en"]
    for tag, table in tables.items():
        assert table.pop("lang") == tag
        assert {section: list(entries) for section, entries in table.items()} == {
            section: list(entries) for section, entries in model.items() if section != "lang"
        }, tag
        for section, entries in table.items():
            for key, value in entries.items():
                names = [sorted(re.findall(r"\{(\w+)\}", line)) for line in _lines(value)]
                assert names == [sorted(re.findall(r"\{(\w+)\}", x)) for x in _lines(model[section][key])], (
                    tag,
                    section,
                    key,
                )


def test_us_english_has_its_own_dates_and_clock_over_the_words_of_english(tmp_path: Path) -> None:
    own = _folder(tmp_path / "words", en=SENDER)
    for words in (read_words(None), read_words(own)):
        us, english = words.of_tag("en-us"), words.of_tag("en")
        assert us.date("2027-03-09T15:05") == "March 9, 2027"
        clock = [us.time(f"2027-03-09T{hour}:05", "no_from") for hour in ("00", "07", "12", "15")]
        assert clock == ["12:05 AM", "7:05 AM", "12:05 PM", "3:05 PM"]
        assert english.time("2027-03-09T15:05", "no_from") == "15:05"
        assert us.raw("off", "paragraphs") == english.raw("off", "paragraphs")
        assert us.raw("sender", "sender") == english.raw("sender", "sender")
    finer = _folder(tmp_path / "us", en_US='[dates]\npaper = "a4"\nam = "a.m."\n')
    us = read_words(finer).of_tag("en-us")
    assert (us.time("2027-03-09T07:05", "no_from"), us.paper) == ("7:05 a.m.", "a4")
    wrong = read_words(_folder(tmp_path / "wrong", en='[dates]\npaper = "A4"\n'))
    with pytest.raises(BadInputError, match="write a4, us-letter or nothing"):
        wrong.of_tag("en")


def test_no_code_knows_a_language_but_the_model() -> None:
    # A translator needs the words file alone.
    files = resources.files("netplan.outputs").joinpath("documents").iterdir()
    code = {path.name: path.read_text(encoding="utf-8") for path in files if path.name.startswith("letter")}
    assert {"letters.py", "letter_words.py"} <= set(code)
    assert [name for name, text in code.items() if re.search(r"""["'](de|pl|he)["']""", text)] == []


@pytest.mark.parametrize(
    ("recorded", "tag"),
    [
        ("de", "de"),
        ("DE", "de"),
        ("de-AT", "de"),
        ("de_AT", "de"),
        (" de-Latn-AT ", "de"),
        ("de-a-bcd", "de"),
        ("es-419", "es"),
        ("est", None),
        ("Estonian", None),
        ("deu", None),
        ("German", None),
        ("e", None),
        ("", None),
        ("-", None),
        ("*", None),
    ],
)
def test_languages_match_by_whole_subtags(recorded: str, tag: str | None) -> None:
    assert lookup(recorded, {"de", "es", "et", "en"}) == tag


def test_a_file_goes_over_the_shipped_one_key_by_key(tmp_path: Path) -> None:
    own = '[common]\nto = "An alle Bewohner"\n[off]\ntitle = "Kein Gas am {date}"\n'
    words = read_words(_folder(tmp_path, de=own, de_AT='[common]\nto = "An alle in Wien"\n'))
    shipped, de, austria = read_words(None).words["de"], words.words["de"], words.words["de-at"]
    assert words.broken == {}
    assert de.raw("common", "to") == "An alle Bewohner"
    assert austria.raw("common", "to") == "An alle in Wien"
    for mine in (de, austria):
        assert mine.raw("off", "title") == "Kein Gas am {date}"
        assert mine.raw("off", "paragraphs") == shipped.raw("off", "paragraphs")
        assert mine.raw("common", "footer") == shipped.raw("common", "footer")
        assert mine.raw("dates", "months") == shipped.raw("dates", "months")
    assert words.words["en"].raw("common", "to") == "To the occupier"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[common\n", "cannot be read"),
        ('[off]\ntitel = "x"\n', "[off] titel is not known"),
        ('[greeting]\ntitle = "x"\n', "greeting is not known"),
        ('off = "x"\n', "off is not a section"),
        ("[off]\ntitle = 7\n", "[off] title is not a text"),
        ('[off]\nparagraphs = "x"\n', "[off] paragraphs is not a list of texts"),
        ('[off]\ntitle = "Gas off {datum}"\n', "[off] title has {datum}, which nothing is filled in for"),
        ('[dates]\nmonths = ["Jan"]\n', "[dates] months has 1 names; give 12"),
        ('lang = "fr"\n', "says lang = 'fr'"),
    ],
)
def test_a_broken_file_stops_those_who_need_it_and_nobody_else(tmp_path: Path, text: str, said: str) -> None:
    known = read_words(_folder(tmp_path, de=text, en=SENDER))
    assert list(known.broken) == ["de"]
    assert said in known.broken["de"]
    assert "words.de.toml" in known.broken["de"]
    assert "\n" not in known.broken["de"]
    chosen = choose_words(["en", "", "pl"], known, "en")
    assert chosen.lacking == ""
    (remark,) = chosen.remarks
    assert said in remark
    assert "no letter needs it" in remark
    for languages, default in ((["de-AT"], "en"), (["en"], "de")):
        with pytest.raises(BadInputError, match=r"words\.de\.toml"):
            choose_words(languages, known, default)


def test_a_language_of_its_own_must_be_complete(tmp_path: Path) -> None:
    half = '[common]\nto = "x"\n'
    known = read_words(_folder(tmp_path, fr=half, he=spelt_words(HEBREW)))
    assert list(known.broken) == ["fr"]
    assert "lacks 'months' under [dates]" in known.broken["fr"]
    assert known.words["he"].setting == {"lang": "he", "direction": "rtl"}
    assert known.words["de"].setting == {"lang": "de", "direction": "ltr"}


def test_a_folder_without_words_is_refused(tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("x")
    with pytest.raises(
        BadInputError, match=r"--words: .* holds no words\.<tag>\.toml, such as words\.en\.toml"
    ):
        read_words(tmp_path)
    with pytest.raises(BadInputError, match=r"--words: .*note\.txt is no folder"):
        read_words(tmp_path / "note.txt")


def test_a_file_that_no_tag_names_is_told(tmp_path: Path) -> None:
    known = read_words(_folder(tmp_path, Estonian=SENDER, EN=SENDER))
    assert known.words["en"].lacking() == ()
    assert len(known.remarks) == 1
    assert "words.Estonian.toml: not read; name it by a language tag" in known.remarks[0]
    twice = read_words(_folder(tmp_path, en=SENDER))
    assert "is of the same language as" in twice.broken["en"]


def test_missing_languages_are_counted_by_customer() -> None:
    recorded = ["est", "EST", "Estonian", "de-AT", "", "xx", "est", "pl"]
    chosen = choose_words(recorded, read_words(WORDS), "en")
    assert [line.partition("; ")[0] for line in chosen.remarks] == [
        "language 'est': no words for it, so the letters of 3 customers are in en",
        "language 'Estonian': no words for it, so the letters of 1 customer are in en",
        "language 'xx': no words for it, so the letters of 1 customer are in en",
    ]
    assert [chosen.of(language).tag for language in recorded] == [
        *("en", "en", "en", "de", "en", "en", "en", "pl")
    ]
    many = choose_words([f"q{chr(97 + k)}" for k in range(20)], read_words(WORDS), "de")
    assert len(many.remarks) == 9
    assert many.remarks[-1] == "12 more languages have no words: letters of 12 customers are in de"


def test_without_a_sender_no_letter_is_made(tmp_path: Path) -> None:
    result = hamlet_result()
    rows = notice_rows(result.plan, result.states[0])
    chosen = choose_words([row.language for row in rows], read_words(None), "en")
    assert chosen.lacking == (
        "letters.pdf is not made: the words name no sender, phone, emergency; write words.en.toml with "
        'sender = "…", phone = "…", emergency = "…" under [sender], and name its folder with --words'
    )
    with pytest.raises(BadInputError, match="the words name no sender"):
        letters_pdf(result.plan, rows, chosen)
    half = '[sender]\nsender = "A"\nphone = "[telephone]"\nemergency = " "\n'
    chosen = choose_words(["de"], read_words(_folder(tmp_path, en=half)), "en")
    assert "name no phone, emergency; write words.en.toml" in chosen.lacking


@pytest.mark.parametrize("own", ["en", "de", "pl"])
def test_a_sender_written_once_holds_for_every_language(tmp_path: Path, own: str) -> None:
    known = read_words(_folder(tmp_path, **{own: SENDER}))
    chosen = choose_words(["de", "pl", "", "en"], known, "de")
    assert chosen.lacking == ""
    for language in ("de", "pl", "", "en"):
        assert chosen.of(language).raw("sender", "sender") == "Own Name & Co #1"


def test_what_is_filled_in_is_not_read_again() -> None:
    table = _shipped_tables()["en"]
    table["sender"] = {"sender": "{phone} {date}", "phone": "0000", "emergency": "0001"}
    words = LetterWords("en", table)
    assert words.text("sender", "sender", {}) == "0000 {date}"
    assert words.fill("{sender} {unknown}", {"date": "x"}) == "{phone} {date} {unknown}"


def test_letters_by_language_do_not_part_one_tag_written_two_ways() -> None:
    result = hamlet_result()
    rows = [row for row in notice_rows(result.plan, result.states[0]) if row.address.startswith("Flat")]
    written = [replace(row, language=tag) for row, tag in zip(rows, ("de_AT", "de-at", "DE-AT"), strict=True)]
    from netplan.outputs.notice_list import letter_groups

    assert [len(group) for group in letter_groups(written)] == [3]
