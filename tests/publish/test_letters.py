from __future__ import annotations

import csv
import datetime
import io
import re
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from pypdf import PdfReader

from riskmap.action.mailing import addressees, to_write_to
from riskmap.contract.errors import OutputError
from riskmap.publish.paper.letter_texts import (
    LANGUAGES,
    county_letters,
    filled,
    forbidden_words,
    read_letter,
)
from riskmap.publish.paper.letters import MOST_SITES, write_letters
from riskmap.publish.paper.typesetting import PAPER
from riskmap.publish.words.imprint import Imprint

TODAY = datetime.date(2026, 6, 1)
SENDER = {"county": "Nowhere County", "contact": "the Well Desk, 555-0100"}
OURS = Imprint(date=TODAY, **SENDER)


def people(ranked: pd.DataFrame, private: pd.DataFrame | None = None) -> pd.DataFrame:
    return addressees(to_write_to(ranked), private)


def chosen(ranked: gpd.GeoDataFrame) -> pd.DataFrame:
    told = ranked["priority_class"].isin(["high", "highest"]) & ranked["rank"].notna()
    return ranked[told].sort_values("rank")


def owners(ranked: gpd.GeoDataFrame) -> pd.DataFrame:
    """Every third owner lives elsewhere; owners have two parcels each."""
    number = pd.Series(range(len(ranked)), index=ranked.index)
    away = number % 3 == 0
    street = ranked["address"].where(~away, "PO Box " + (number // 2 + 1).astype(str))
    return pd.DataFrame(
        {
            "owner": "Invented Owner " + (number // 2).astype(str),
            "mail_address": street,
            "mail_city": "Sample Falls",
            "mail_state": "New York",
            "mail_zip": "13301",
        },
        index=ranked.index,
    )


def pdf_pages(path: Path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]


def words_of(texts: object) -> list[str]:
    if isinstance(texts, str):
        return [texts]
    parts = texts.values() if isinstance(texts, dict) else texts
    return [text for part in parts for text in words_of(part)]  # type: ignore[union-attr,attr-defined]


def sentences(code: str) -> str:
    texts = read_letter(None, code)
    parts = ("household", "owner", "steps", "signs", "safety", "closing")
    lines = [line for part in parts for line in words_of(texts[part])]
    text = " ".join(line if line.endswith((".", "?", "!")) else f"{line}." for line in lines)
    return filled({**texts, "body": text}, date=TODAY, **SENDER)["body"]  # type: ignore[no-any-return]


class TestPublishedValues:
    def test_english_reads_at_sixth_grade_or_below(self) -> None:
        # Kincaid et al. (1975), Navy RBR 8-75: 0.39 words/sentences + 11.8 syllables/words - 15.59
        # (from memory). Health letters should read at sixth grade or below (common practice).
        text = sentences("en")
        words = re.findall(r"[A-Za-z']+", text)
        syllables = sum(max(1, len(re.findall(r"[aeiouy]+", _mute(word)))) for word in words)
        count = len(re.findall(r"[.!?:]+(?:\s|$)", text))
        grade = 0.39 * len(words) / count + 11.8 * syllables / len(words) - 15.59
        assert grade <= 6.0

    def test_spanish_reads_easily(self) -> None:
        # Fernandez Huerta (1959): 206.84 - 60 syllables/words - 1.02 words/sentences (from
        # memory); 70-80 is fairly easy, 60-70 plain.
        text = sentences("es")
        words = re.findall(r"[a-zA-ZáéíóúüñÁÉÍÓÚÑ]+", text)
        strong = r"[aeoáéíóú]|[iuü]+(?![aeoáéóiuü])"
        syllables = sum(max(1, len(re.findall(strong, word.lower()))) for word in words)
        count = len(re.findall(r"[.!?:]+(?:\s|$)", text))
        ease = 206.84 - 60 * syllables / len(words) - 1.02 * len(words) / count
        assert ease >= 65.0


def _mute(word: str) -> str:
    """Without the silent e of most English words."""
    return re.sub(r"(?<=[^aeiouyl])e[sd]?$", "", word.lower())


class TestCalmWords:
    @pytest.mark.parametrize(
        "text",
        [
            "Your system has failed.",
            "Your septic system is failing",
            "the system may have failed",
            "There is a failure at your home",
            "your well is contaminated",
            "You are in violation of the code",
            "A fine of $500 may be due",
            "Su sistema ha fallado.",
            "el sistema séptico falló",
            "Su sistema está fallando",
            "una falla de su sistema",
            "Su pozo está contaminado",
            "Puede recibir una multa",
            "usted está contaminando el agua",
            # the same, as an editor or a trick may write it
            "El sistema fallo\u0301.",  # accent as a mark of its own
            "Su sistema esta roto",  # no accent at all
            "Your system has fai\u00adled.",  # soft hyphen
            "Your system has fa\u200biled.",  # space without width
            "Your system has \uff46ailed.",  # full-width letter
            "YOUR SYSTEM HAS _FAILED_",
            "Your septic system doesn\u2019t work.",
            "the field no longer works",
            "Your tank may very well be leaking",
            "You must repair it within 30 days",
            "the system is defective",
            "a health hazard",
            "Su sistema no funciona",
            "Usted debe reparar el campo",
            "su agua podría estar contaminada",
        ],
    )
    def test_forbidden_phrases_are_found(self, text: str) -> None:
        assert forbidden_words({"nested": [text]})

    @pytest.mark.parametrize("code", LANGUAGES)
    def test_the_letters_have_none(self, code: str) -> None:
        assert forbidden_words(read_letter(None, code)) == []

    def test_what_every_letter_must_say(self) -> None:
        english, spanish = sentences("en"), sentences("es")
        for words in ("does not mean that there is a problem", "have not visited", "Never open",
                      "certified lab", "licensed", "Local rules", SENDER["contact"]):  # fmt: skip
            assert words in english
        for words in ("no significa que haya un problema", "No hemos visitado", "Nunca abra",
                      "laboratorio certificado", "licencia", "reglas locales",
                      SENDER["contact"]):  # fmt: skip
            assert words in spanish

    def test_a_county_may_change_the_words_but_not_accuse(self, tmp_path: Path) -> None:
        own = tmp_path / "own.toml"
        text = (PAPER / "letter_en.toml").read_text(encoding="utf-8")
        own.write_text(text.replace("Dear neighbor,", "Good day,"), encoding="utf-8")
        assert read_letter(own, "en")["household"]["greeting"] == "Good day,"
        own.write_text(text.replace("Dear neighbor,", "Your system has failed,"), encoding="utf-8")
        with pytest.raises(OutputError, match="has failed"):
            read_letter(own, "en")
        with pytest.raises(OutputError, match="language"):
            read_letter(PAPER / "letter_es.toml", "en")
        own.write_text(text.replace("[signs]", "[sings]"), encoding="utf-8")
        with pytest.raises(OutputError, match="Did you mean signs"):
            read_letter(own, "en")
        own.write_text(text.replace("{county} do", "{telephone} do"), encoding="utf-8")
        with pytest.raises(OutputError, match="telephone"):
            filled(read_letter(own, "en"), date=TODAY, **SENDER)
        with pytest.raises(OutputError, match="cannot be read"):
            read_letter(tmp_path / "none.toml", "en")

    @pytest.mark.parametrize(
        ("old", "new", "says"),
        [
            ("Please call {contact}.", "Please call us.", "whom to call"),
            ('title = "Stay safe"', 'title = " "', r"safety\.title"),
            ("[signs]", "signs = 3\n[sings]", "Did you mean signs"),
            ("{month} {day}", "{mes} {day}", "mes"),
            ("December", "Your system has failed", "has failed"),
        ],
    )
    def test_what_an_edited_letter_may_not_leave_out(
        self, tmp_path: Path, old: str, new: str, says: str
    ) -> None:
        text = (PAPER / "letter_en.toml").read_text(encoding="utf-8")
        if "signs = 3" in new:
            text, new = f"signs = 3\n{text}", "[sings]"
        assert old in text
        (tmp_path / "letter_en.toml").write_text(text.replace(old, new), encoding="utf-8")
        with pytest.raises(OutputError, match=says):
            county_letters(tmp_path)

    def test_a_folder_of_own_letters(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
        assert county_letters(None) == {}
        with pytest.raises(OutputError, match="letter_en"):
            county_letters(tmp_path)
        write_letters(tmp_path, people(chosen(ranked).head(1)), OURS)
        own = tmp_path / "letters" / "letter_es.toml"  # laid there to be copied and changed
        words = own.read_text(encoding="utf-8").replace("Estimado vecino,", "Buenos días,")
        own.write_text(words, encoding="utf-8")
        (tmp_path / "letters" / "letter_en.toml").unlink()
        texts = county_letters(tmp_path / "letters")
        assert texts.keys() == {"es"}
        again = write_letters(tmp_path / "b", people(chosen(ranked).head(1)), OURS, texts=texts)
        english, spanish = (pdf_pages(path)[1] for path in again[1:])
        assert "Buenos días," in spanish
        assert "Dear neighbor," in english

    def test_a_letter_of_two_pages_is_refused(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        text = (PAPER / "letter_en.toml").read_text(encoding="utf-8")
        (tmp_path / "letter_en.toml").write_text(
            text.replace("toilet paper.", "toilet paper. " * 120),
            encoding="utf-8",
        )
        with pytest.raises(OutputError, match="longer than a page"):
            write_letters(
                tmp_path, people(chosen(ranked).head(1)), OURS, texts=county_letters(tmp_path)
            )

    def test_both_languages_say_the_same_parts(self) -> None:
        english, spanish = (read_letter(None, code) for code in LANGUAGES)
        assert english.keys() == spanish.keys()
        for part in ("household", "owner", "steps", "signs", "safety", "closing"):
            assert english[part].keys() == spanish[part].keys()
            for name, value in english[part].items():
                assert type(value) is type(spanish[part][name])
                if isinstance(value, list):
                    assert len(value) == len(spanish[part][name])

    def test_dates_in_words(self) -> None:
        dates = [
            filled(read_letter(None, code), date=TODAY, **SENDER)["date"] for code in LANGUAGES
        ]
        assert dates == ["June 1, 2026", "1 de junio de 2026"]


class TestLetters:
    def test_without_owners_each_household_gets_a_letter(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        written = write_letters(tmp_path, people(ranked), OURS)
        names = [path.relative_to(tmp_path).as_posix() for path in written]
        assert names == [
            "letters/mail_merge.csv",
            "letters/letters_en.pdf",
            "letters/letters_es.pdf",
        ]
        table = list(csv.DictReader(io.StringIO(written[0].read_bytes().decode("utf-8"))))
        ids = "; ".join(row["parcel_ids"] for row in table).split("; ")
        assert sorted(ids) == sorted(chosen(ranked).index)
        assert {row["name"] for row in table} == {"RESIDENT"}
        assert {row["address_check"] for row in table} == {"city and ZIP code missing"}
        for path in written[1:]:
            head, *pages = pdf_pages(path)
            assert f"holds all {len(table)} letters" in head
            assert len(pages) == len(table)
            for page, row in zip(pages, table, strict=True):
                assert f"RESIDENT {row['address_1']}" in page
                assert SENDER["contact"] in page
                assert forbidden_words(page) == []

    def test_owners_get_one_letter_for_all_their_parcels(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        written = write_letters(tmp_path, people(ranked, owners(ranked)), OURS)
        table = pd.read_csv(written[0], dtype=str, keep_default_na=False)
        assert set(table["audience"]) == {"household", "owner"}
        assert table["parcel_ids"].str.split("; ").explode().nunique() == len(chosen(ranked))
        assert (table["address_2"] == "SAMPLE FALLS NY  13301").all()
        pages = pdf_pages(written[1])[1:]
        assert len(pages) == len(table)
        for page, row in zip(pages, table.to_dict("records"), strict=True):
            opening = "Dear neighbor," if row["audience"] == "household" else "Dear property owner,"
            assert opening in page
            for site in row["properties"].split("; "):
                assert site in page

    def test_those_ranked_apart_get_no_letter(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        unknown = ranked.assign(rank=pd.NA)
        written = write_letters(tmp_path, people(unknown), OURS)
        assert [path.name for path in written] == ["mail_merge.csv"]
        assert written[0].read_text().count("\n") == 1

    def test_a_language_on_record_is_kept(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
        some = chosen(ranked).head(6).assign(language=["es", "en", "", None, "ES", "fr"])
        written = write_letters(tmp_path, people(some), OURS)
        assert [len(pdf_pages(path)) for path in written[1:]] == [1 + 4, 1 + 5]

    def test_most_letters_bounds_the_pages_not_the_table(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        written = write_letters(tmp_path, people(ranked), OURS, most=3)
        head, *pages = pdf_pages(written[1])
        assert len(pages) == 3
        assert f"holds 3 of {len(chosen(ranked))} letters" in head
        assert len(pd.read_csv(written[0])) == len(chosen(ranked))

    def test_same_bytes(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
        some = chosen(ranked).head(5)
        first, second = (write_letters(tmp_path / n, people(some), OURS) for n in "ab")
        for one, other in zip(first, second, strict=True):
            assert one.read_bytes() == other.read_bytes()

    def test_spanish_pages_say_so_to_screen_readers(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        written = write_letters(tmp_path, people(chosen(ranked).head(1)), OURS)
        root = PdfReader(written[2]).trailer["/Root"]
        assert root["/Lang"] == "es"
        assert "/StructTreeRoot" in root

    def test_hostile_and_long_texts_stay_on_one_page(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        some = chosen(ranked).head(40)
        private = owners(some).assign(owner='#panic("x") $ [ \u202eTXEN', mail_address="P.O. Box 1")
        private["owner"] = private["owner"] + "W" * 300
        some = some.assign(
            address=[f"{n} {'WIDE ' * 30} =cmd|'/c calc'!A1" for n in range(len(some))]
        )
        written = write_letters(
            tmp_path, people(some, private), Imprint("=1+1 #set", TODAY, contact="@call [me")
        )
        table = pd.read_csv(written[0], dtype=str, keep_default_na=False)
        assert len(table) == 1  # one owner, forty parcels
        assert table["county"][0] == "'=1+1 #set"
        assert table["contact"][0] == "'@call [me"
        assert "\u202e" not in written[0].read_text()
        for path in written[1:]:
            _, page = pdf_pages(path)
            assert '#PANIC("X") $ [ TXEN' in page
            assert f"+ {40 - MOST_SITES}" in page
            assert "@call [me" in page
