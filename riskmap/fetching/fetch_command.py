"""What ``riskmap fetch`` does with its options."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable

from riskmap.contract.errors import FetchError
from riskmap.fetching.client import Client
from riskmap.fetching.fetch import KEPT, fetch, forget
from riskmap.fetching.places import county_place, outline_place
from riskmap.fetching.services import SERVICES

Say = Callable[[str], None]


def fetch_county(options: Namespace, say: Say, tell: Say) -> bool:
    """Fetch for a county and say what came, what did not, and what to do next.

    Parameters
    ----------
    options
        ``folder``, ``county`` or ``outline``, ``layers``, ``refresh``, ``mirror``.
    say, tell
        Take a line of the result, and a line of progress.

    Returns
    -------
    bool
        Whether a layer failed.

    Raises
    ------
    FetchError
        If the county is not known, or a layer is none that is fetched.
    """
    layers = tuple(options.layers or SERVICES)
    strange = [name for name in layers if name not in SERVICES]
    if strange:
        raise FetchError(
            strange[0], "no service is asked for this layer.", f"Layers: {', '.join(SERVICES)}."
        )
    place = county_place(options.county) if options.county else outline_place(options.outline)
    if options.refresh:
        forget(options.folder)
    client = Client(options.folder / KEPT, via=options.mirror)
    haul = fetch(options.folder, place, layers, client=client, tell=tell)
    for layer, names in haul.files.items():
        say(f"{layer:<14} {', '.join(names) or 'the service has nothing here'}"[:100])
    for said in haul.troubles.values():
        say(f"Not fetched: {said}")
    say(f"Next: riskmap new county --from {options.folder} PARCELS ...")
    return bool(haul.troubles)
