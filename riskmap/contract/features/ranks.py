"""Columns of the ranking: scores, classes, ranks, reasons, their doubt, and what was learned."""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Listed, number, text, year
from riskmap.contract.features import card
from riskmap.contract.quantities import COUNT, POINTS, SHARE, WHOLE_POINTS
from riskmap.contract.vocabulary import SCORE_CLASSES, WORKLISTS

SCORES: Final = (
    number("rank", "Rank among systems known to be onsite, 1 first", COUNT, label="Rank",
           listed=Listed(7)),
    number("apart_rank", "Rank among parcels whose service is unknown, listed separately", COUNT,
           label="Rank apart"),
    number("priority", "Priority: by the aim, from the chances and the groundwater score", POINTS,
           label="Priority", listed=Listed(8.5)),
    number("failure_score", "Failure score: the sum of the failure points", POINTS,
           label="Failure score"),
    number("groundwater_score", "Groundwater score: the sum of the groundwater points",
           POINTS, label="Groundwater score"),
)

_ENDS: Final = {"low": "Lower end of the 90% range of the {}", "middle": "Middle draw of the {}",
                "high": "Upper end of the 90% range of the {}"}
_DRAWN: Final = {
    "failure_score": ("failure score", WHOLE_POINTS),
    "groundwater_score": ("groundwater score", WHOLE_POINTS),
    "priority": ("priority", WHOLE_POINTS),
    "rank": ("rank", COUNT),
}
_ENDS_LISTED: Final = {
    "priority_low": "Priority, low", "priority_high": "Priority, high", "rank_low": "Rank, first",
    "rank_high": "Rank, last",
}

DOUBT: Final = (
    *(number(f"{name}_{end}", words.format(of), quantity,
             label=_ENDS_LISTED.get(f"{name}_{end}", ""),
             listed=Listed(8.5, on_paper=False) if f"{name}_{end}" in _ENDS_LISTED else None)
      for name, (of, quantity) in _DRAWN.items() for end, words in _ENDS.items()),
    number("top_chance", "Chance that it belongs among the first, as many as the list holds",
           SHARE, label="Chance to be among the first", listed=Listed(9)),
    number("top_chance_error", "Standard error of that chance by the number of draws and scenarios",
           SHARE),
)
"""What the draws add; low and high bound 90% of them."""

LEARNED: Final = (
    text("decided_by",
         "Which ranking decides: condition model, classifier, or score corrected by learning",
         label="Ranked by", card=card.MORE, listed=Listed(14, wrap=True)),
    number("learned_chance_frac", "Chance that visits would find it failed, learned from visits",
           SHARE, label="Learned chance", card=card.MORE, listed=Listed(9)),
)
"""What learning from visits adds."""

LIST_PLACE: Final = (
    text("worklist", "List of the season it stands on: on file, to follow up; or to find",
         WORKLISTS, label="List", listed=Listed(9)),
    number("list_rank", "Place on its list, 1 first", COUNT, label="Place", listed=Listed(7)),
)
"""Where a system stands on the lists of a season."""

RECORDS: Final = (
    text("on_file", "What calls for following it up, and since when", label="To follow up",
         listed=Listed(28, "inspections, permits", wrap=True)),
    text("county_records", "Complaints, repairs and findings on record, the latest first",
         label="On record", listed=Listed(34, "inspections, permits", wrap=True)),
    text("chance_reasons", "What raises the chance of having failed most, besides its records; "
         "given for the systems of the season's lists", label="What raises the chance",
         listed=Listed(34, wrap=True)),
)
"""Why it is visited: the county's own records, and what raises the chance besides them."""

CLASSES: Final = (
    year("on_file_year", "Year since when the records call for following it up",
         label="On file since", listed=Listed(9, "inspections, permits")),
    text("priority_class", "Class of the priority: by the season of visits that reaches it",
         SCORE_CLASSES, label="Class", listed=Listed(10)),
    text("failure_class", "Class of the failure score: by the season of visits that would reach "
         "it if the score made the list", SCORE_CLASSES, label="Failure", listed=Listed(10)),
    text("groundwater_class", "Class of the groundwater score, in the same way", SCORE_CLASSES,
         label="Groundwater", listed=Listed(12)),
)
"""Since when a case is open, and the classes of the scores."""

LISTS: Final = (*LIST_PLACE, *RECORDS, *CLASSES)
"""What the two lists of a season add."""

REASONS: Final = (
    text("not_ranked_reason", "Why a parcel has no rank"),
    text("reason_1", "What adds most points", label="Leading reason", listed=Listed(28, wrap=True)),
    text("reason_2", "What adds the next most points", label="Second reason",
         listed=Listed(26, wrap=True)),
    text("reason_3", "What adds the third most points", label="Third reason",
         listed=Listed(26, wrap=True)),
    text("unknown", "Factors of which nothing is known; ask for the records", label="Not known",
         listed=Listed(24, wrap=True)),
)

WHY: Final = (*RECORDS, *REASONS[1:4])
"""Columns that say why a system is visited, in the order in which people read them."""

RANKED: Final = (*SCORES, *REASONS)
"""What every ranked table has, with one ``<factor>_points`` column per factor."""

LISTING: Final = (
    number("priority_rank", "Rank by priority, where the list is ordered by chance", COUNT,
           label="Rank by priority", card=card.MORE, listed=Listed(9)),
    text("chance_words", "Chance that it has failed by today in words, with the range that nine "
         "in ten fall in", label="Chance that it has failed", listed=Listed(24, wrap=True)),
    text("look_for", "What to look for, in addition to what is looked for at every stop",
         label="Look for", listed=Listed(62, wrap=True)),
)
"""What a list adds."""
