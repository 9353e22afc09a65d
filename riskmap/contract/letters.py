"""What is kept of every letter: the list that goes with the mailing, the reply slip and the log.

The list that ``riskmap mail`` writes has these columns; filled in, ``riskmap record`` reads it
back. Names and addresses are not kept: a reference and the parcel numbers tell which letter it was.
"""

from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Listed, date, flag, key, text

NO_MORE: Final = "no more letters"

LETTER_KEYS: Final = (
    key("reference", "Number printed on the letter and on its reply slip", label="Reference"),
    text("parcel_ids", "Parcels that the letter is about", label="Parcel numbers",
         listed=Listed(20, "parcels", wrap=True)),
    text("audience", "household: lives on the parcel; owner: the tax bill goes elsewhere or there "
         "are several parcels", ("household", "owner"), label="For", listed=Listed(11)),
    text("letter", "Which letter it is", ("general", "well", "on file"), label="Letter",
         listed=Listed(10)),
)  # fmt: skip
"""What the program fills in."""

LETTER_QUESTIONS: Final = (
    date("sent_on", "Day the letter was posted", label="Sent on", listed=Listed(12)),
    flag("came_back", "Whether the post returned it", label="Came back", listed=Listed(10)),
    text("answer", "What the addressee wants",
         ("none", "visit", "question", "gave records", "not on septic", NO_MORE), label="Answer",
         listed=Listed(14)),
    date("answered_on", "Day of the answer", label="Answered on", listed=Listed(12)),
    date("tank_pumped", "Date of the last pump-out by the reply slip", label="Tank pumped",
         listed=Listed(13)),
    text("remarks", "Anything the next caller must know", label="Remarks", listed=Listed(34)),
)  # fmt: skip
"""What outreach staff fill in."""

LETTER_COLUMNS: Final = {column.name: column for column in (*LETTER_KEYS, *LETTER_QUESTIONS)}
