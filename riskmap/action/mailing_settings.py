"""The ``[mailing]`` section: who is written to, in which language, for how much, by whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from riskmap.contract.settings import JUDGED, Section, setting

OWN: Final = "the county's own"
To = Literal["first on the list", "pump-out overdue", "well owners"]


@dataclass(frozen=True)
class MailingSettings(Section):
    """Who is written to by `riskmap mail`."""

    to: To = setting(
        "first on the list", "Who gets a letter: systems in the two highest "
        "classes, which go by the aim; systems whose tank was due to be pumped; owners of wells "
        "in whose capture area there are systems",
    )  # fmt: skip
    zones: tuple[str, ...] = setting((), "Only within these planners' zones, by `zone_id`")
    neighborhoods: tuple[str, ...] = setting((), "Only in these neighborhoods")
    languages: Literal["as recorded", "both", "en", "es"] = setting(
        "as recorded", "Language of a letter: the one that the county keeps, else both; both on "
        "one sheet, front and back; or one for all",
    )  # fmt: skip
    residents_too: bool = setting(
        False, "Whether the household is written to as well where the owner lives elsewhere"
    )
    cost: float | None = setting(
        None, "Cost of a letter, paper and postage", unit="money", low=0, high=1000,
        source=OWN,
    )  # fmt: skip
    budget: float | None = setting(
        None, "Most that the mailing may cost; the best ranks are written to", unit="money",
        low=0, high=1e9, source=OWN,
    )  # fmt: skip
    not_again_d: int = setting(
        365, "Days after a letter during which the same addressee gets no other", unit="d", low=0,
        high=10_000, source=JUDGED,
    )  # fmt: skip
    acting_frac: float | None = setting(
        None, "Share of addressees who have their system looked at after a letter, by the "
        "county's own count; without it the expected effect is not told", unit="0-1", low=0,
        high=1, source=OWN,
    )  # fmt: skip
    signer: str = setting("", "Name under the letters")
    signer_title: str = setting("", "Office of who signs")
    return_address: tuple[str, ...] = setting(
        (), "Lines of the return address, above the addressee's in the window and on reply slips"
    )

    def conflicts(self) -> list[str]:
        """Refuse a budget that cannot be counted in letters."""
        if self.budget is not None and not self.cost:
            return ["budget needs the cost of a letter: give cost too"]
        return []
