"""What each kind of defect costs the ranking, and how it is cured at its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Cure:
    """What a kind of defect costs and what to do; ``serious`` from this share of the rows on."""

    cost: str
    cure: str
    serious_from: float = 2.0


CURES: Final = {
    "unknown_code": Cure(
        "these rows count as unknown",
        "Add the codes to values of this column in the region file.",
        0.2,
    ),
    "future_date": Cure(
        "these records count as undated",
        "Two-digit years: give date_format with %y. Else correct the dates, or the county's date.",
        0.01,
    ),
    "future_year": Cure("these houses count as of unknown age", "Correct the years.", 0.01),
    "two_digit_year": Cure("these dates are lost", 'Give date_format, such as "%m/%d/%y".', 0.01),
    "unreadable_date": Cure("these dates are lost", "Give date_format in the region file.", 0.05),
    "impossible_date": Cure(
        "these dates are lost", "Day first? Give date_format = \"%d/%m/%Y\".", 0.05
    ),
    "ambiguous_date": Cure(
        "these dates are lost", "Leave in date_format only what the office writes.", 0.05
    ),
    "serial_date": Cure("nothing, if they are day numbers", "Save the column as dates."),
    "other_date_form": Cure("nothing: they can mean one day only", "Write all dates alike."),
    "title_rows": Cure("nothing, if they are a title", "Take them out of the table."),
    "placeholder_date": Cure("these dates are lost", "Empty these cells at the source.", 0.2),
    "impossible_year": Cure(
        "these houses count as of unknown age", "Empty or correct these years.", 0.2
    ),
    "not_a_number": Cure("these values are lost", "Write bare numbers, one unit a column.", 0.05),
    "out_of_range": Cure(
        "these values are lost", "Check the unit of the column, then these rows.", 0.05
    ),
    "amount": Cure("nothing, if 0 means no", "Nothing to do, or translate with values."),
    "duplicate_parcel": Cure(
        "their shapes were merged into one parcel", "Is parcel_id the right column?", 0.1
    ),
    "duplicate_key": Cure("the rows were numbered", "Is this column the number of a row?", 0.1),
    "repeated_row": Cure("nothing: repeats were left out", "Remove them at the source."),
    "stacked_parcels": Cure(
        "one system may be counted several times", "Give one parcel number per piece of land.", 0.1
    ),
    "record_without_parcel": Cure(
        "these assessor's records were left out", "Take parcels and records of the same year.", 0.2
    ),
    "parcel_without_record": Cure(
        "age, use and size of these are unknown", "Take parcels and records of the same year.", 0.2
    ),
    "other_spelling": Cure("nothing: they were found", "Use one spelling at the source."),
    "elevation_perhaps_feet": Cure(
        "depths to water are wrong", 'Add unit = "ft" to ground_elevation_m, or to elevation.', 0.1
    ),
    "elevation_far_from_terrain": Cure(
        "depths to water are doubtful", "Check the places and elevations of these wells.", 0.2
    ),
    "far_from_region": Cure("they join nothing", "Check crs, x and y of this layer.", 0.01),
    "no_coordinates": Cure("they are placed by parcel only", "Add coordinates.", 0.8),
    "unlocated_permit": Cure("these permits tell of no parcel", "Add the parcel numbers.", 0.2),
    "no_geometry": Cure("they are not in the result", "Draw them at the source.", 0.05),
    "no_rows": Cure("the layer is empty", "Check file, table and form.", 0.0),
    "unknown_unit": Cure("these values are lost", "Give the unit beside the value.", 0.05),
}  # fmt: skip
"""Kind of defect -> its cost and cure."""

NO_JOIN: Final = Cure(
    "these records tell of no parcel", "Add the county's parcel number to them.", 0.2
)
OTHERWISE: Final = Cure("little", "Correct these rows at the source.")


def cure_of(check: str) -> Cure:
    """Return the cure of a kind of defect.

    >>> cure_of("not_in_parcels").cost, cure_of("odd").cost
    ('these records tell of no parcel', 'little')
    """
    return NO_JOIN if check.startswith("not_in_") else CURES.get(check, OTHERWISE)
