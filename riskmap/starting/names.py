"""Names of columns, files and sheets as plain words: ``YR_BLT`` and ``YearBuilt`` say the same."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

SHORT: Final = {
    "year": "yr yrs",
    "built": "blt bld build",
    "number": "no num nbr nmbr nr numb id ident identifier key",
    "parcel": "pcl prcl parc par pclno",
    "pin": "pid pidn apn ain parcelid pinnum gpin upi",
    "address": "addr adr add addrs add1 addr1 adrs address1",
    "permit": "prmt pmt pmit perm",
    "system": "sys syst",
    "type": "typ tp",
    "code": "cd",
    "description": "desc descr descrip dscr",
    "date": "dt dte",
    "bedrooms": "bed beds bdrm bdrms bedrm bedrms br bedroom nobed nbeds nbed",
    "bathrooms": "bath baths bthrm",
    "dwelling": "dwell dwlg dwellings units unit du houses",
    "area": "ar",
    "square": "sq",
    "residential": "res resid",
    "total": "tot ttl",
    "actual": "actl",
    "squarefeet": "sqft sf sqfeet squareft ft2 sft",
    "feet": "ft foot",
    "inches": "in inch",
    "gallons": "gal gals gallon gl",
    "gpd": "gpday gald",
    "acres": "acre ac acreage",
    "meters": "m meter metre metres mtr",
    "centimeters": "cm centimeter",
    "living": "liv lvg livg",
    "finished": "fin",
    "floor": "flr",
    "gross": "grs",
    "building": "bldg bld buildings bldgs structure struct struc",
    "improvement": "impr imp improv improvements improved imprv impv",
    "value": "val vl valu",
    "owner": "ownr own ownername owners",
    "mailing": "mail mlg pstl postal",
    "city": "cty",
    "state": "st",
    "zip": "zipcode zip5 mzip postcode",
    "phone": "telephone tel ph phon",
    "site": "situs sit location loc property prop physical phys phy",
    "street": "str strt",
    "neighborhood": "nbhd nbrhd neigh neighbor subdivision subdiv subdv",
    "use": "luse",
    "land": "lnd",
    "class": "cls classification clss",
    "tank": "tnk",
    "capacity": "cap capac",
    "volume": "vol",
    "size": "sz",
    "design": "des dsgn",
    "flow": "flw flo",
    "field": "fld drainfield drainfld leachfield absorption absorb abs absorpt drn",
    "issued": "iss issue issd issuedate",
    "inspected": "insp inspect inspection inspections inspectdate finaled",
    "pumped": "pump pumpout pumping pmp pumpd",
    "last": "lst",
    "filter": "filt fltr",
    "effluent": "effl",
    "effective": "eff effec efct",
    "approved": "appr apprv approval",
    "estimated": "est estim",
    "leach": "leaching lch",
    "heated": "htd",
    "diameter": "dia diam",
    "account": "acct acctno",
    "application": "app appl applic",
    "block": "blk",
    "assessed": "assd asmt assess",
    "planned": "plan",
    "loading": "load ldg",
    "percolation": "perc perk percrate",
    "nitrogen": "nitro",
    "removal": "remov removed",
    "visit": "visited vst",
    "reason": "rsn",
    "found": "fnd finding findings result outcome condition cond",
    "ponding": "pond ponded",
    "depth": "dpth dep",
    "well": "wl wel",
    "casing": "csg case cas",
    "screen": "scrn scr perforated perf",
    "bottom": "bot btm",
    "static": "stat swl",
    "level": "lev lvl",
    "ground": "grnd gr surface",
    "elevation": "elev el alt altitude elv",
    "datum": "dtm",
    "aquifer": "aqfr aqf aquif",
    "drilled": "drill drld drilldate completed complete compl constructed construction const "
    "constr comp",
    "yield": "yld",
    "dug": "dugwell",
    "longitude": "long lon lng longdd",
    "latitude": "lat latdd",
    "easting": "east xcoord xutm",
    "northing": "north ycoord yutm",
    "district": "dist dst",
    "name": "nm nam nme",
    "occupants": "occ occup persons people residents occupant",
    "meter": "mtr metered",
    "water": "wtr wat",
    "sewer": "swr sewr sanitary",
    "service": "serv svc",
    "sample": "samp sampled smpl sampledate",
    "nitrate": "no3 nitraten no3n",
    "coliform": "coli tcoli bacteria",
    "action": "actn worktype workclass",
    "kind": "knd",
    "record": "rec",
}
"""Word -> how offices shorten it, or say the same (common practice, no source)."""

_OTHER: Final = """
legal tax bill sale sold price deed book page account acct total year effective remodel zone
zoning school fire ward precinct prev previous old former alt2 comments remark remarks notes
status work absorption trench bed mound contractor installer applicant driller pumper lab method
qualifier county town township section range block tract assessed assessor roll flood hazard lake
stream river pond creek gnis wellhead protection source purpose reach from to top end start final
real property record map plat gis shape length perimeter objectid fid globalid edit editor created
modified user complaint violation failure failed repair new census result sum adj factor ratio
grade quality test rate lot low print tag log unique reference ref cost of stated report stories
fireplace garage pool heat fuel roof ext wall agency organization project activity measure unit
text daily average monthly usage per day hour minutes min gpm mg ppm
"""
OTHER_WORDS: Final = tuple(_OTHER.split())
"""Words of names that are no column of a layer."""

_PLAIN: Final = {short: word for word, shorts in SHORT.items() for short in (word, *shorts.split())}
_KNOWN: Final = {**_PLAIN, **{word: word for word in OTHER_WORDS if word not in _PLAIN}}
_CAMEL: Final = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
LEAST_PART: Final = 2
"""Letters of the shortest part that a glued name is cut into."""


@lru_cache(maxsize=4096)
def words_of(name: str) -> tuple[str, ...]:
    """Plain words of a name, in order; digits and signs are left out.

    >>> words_of("YR_BLT"), words_of("YearBuilt"), words_of("TANKGAL"), words_of("Depth (ft)")
    (('year', 'built'), ('year', 'built'), ('tank', 'gallons'), ('depth', 'feet'))
    """
    parts = re.split(r"[^A-Za-z0-9]+", _CAMEL.sub(" ", name))
    found: list[str] = []
    for part in parts:
        low = part.lower()
        if low in _KNOWN:
            found.append(_KNOWN[low])
            continue
        for piece in re.findall(r"[a-z]+", low):
            found += _cut(piece)
    return tuple(_joined(found))


def _joined(words: list[str]) -> list[str]:
    """Write "square feet" as the one word that it is."""
    found: list[str] = []
    for word in words:
        if word == "feet" and found and found[-1] == "square":
            found[-1] = "squarefeet"
        else:
            found.append(word)
    return found


def _cut(piece: str) -> list[str]:
    """Cut a glued name into known words, as few as possible; itself where that fails."""
    if piece in _KNOWN:
        return [_KNOWN[piece]]
    best: list[list[str] | None] = [[]] + [None] * len(piece)
    for end in range(1, len(piece) + 1):
        for start in range(end - LEAST_PART + 1):
            before, word = best[start], _KNOWN.get(piece[start:end])
            if before is None or word is None:
                continue
            now = best[end]
            if now is None or len(before) + 1 < len(now):
                best[end] = [*before, word]
    whole = best[len(piece)]
    return [piece] if whole is None else whole
