"""Where each layer can be had: public sources, the address of the page, the clicks, the license.

Names of services, addresses and clicks are from memory: pages move, and then the name helps.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

PUBLIC: Final = "US public domain"
COUNTY: Final = "the county's own; ask whether it may be shown"


@dataclass(frozen=True)
class OpenSource:
    """Where a layer comes from. ``address`` is empty where no one page serves all counties.

    ``adds`` is what the layer adds to the ranking; ``fetched``: `riskmap fetch` gets it.
    """

    name: str
    address: str
    clicks: str
    license: str
    adds: str
    fetched: bool = False


OPEN_SOURCES: Final[Mapping[str, OpenSource]] = {
    "parcels": OpenSource(
        "County assessor or county GIS office; many states have a statewide parcel layer",
        "https://catalog.data.gov",
        "Ask for the parcel polygons as GeoPackage or shapefile and the assessor's table (year "
        "built, land use, living area, bedrooms) with the parcel number in both. In the catalog, "
        "search for the state's name and parcels.",
        COUNTY,
        "Every row of the result is a parcel: nothing goes without.",
    ),
    "soil_survey": OpenSource(
        "Web Soil Survey, USDA Natural Resources Conservation Service",
        "https://websoilsurvey.nrcs.usda.gov",
        "Start WSS; Download Soils Data; Soil Survey Area (SSURGO); choose state and county; "
        "Create Download Link; unpack the zip file, keep its folders tabular and spatial.",
        PUBLIC,
        "How fast the ground takes water and how near its wet layers and rock are: needed.",
        fetched=True,
    ),
    "sewer_area": OpenSource(
        "Sewer utilities of the county, or its planning office",
        "",
        "Ask for the area served by public sewer as polygons. If there are no sewers, write "
        'sewers = "none" below [county].',
        COUNTY,
        "Who is on an onsite system: without it, buildings without a record are not ranked.",
    ),
    "permits": OpenSource(
        "The county's environmental health office",
        "",
        "Ask for all onsite permits as one table: number, parcel number, dates, kind of system, "
        "sizes, and whether it was new or a repair. Names and telephones are not needed.",
        COUNTY,
        "Age, kind and size of the systems, and repairs: the most telling of all records.",
    ),
    "inspections": OpenSource(
        "The county's environmental health office",
        "",
        "Ask for visits and complaints: parcel number, date, reason, what was found.",
        COUNTY,
        "What the program learns from, and what it is judged by.",
    ),
    "elevation": OpenSource(
        "3D Elevation Program, US Geological Survey, by The National Map downloader",
        "https://apps.nationalmap.gov/downloader/",
        "Elevation Products (3DEP); 1/3 arc-second DEM, or 1 meter for small counties; draw the "
        "extent; Search Products; download the GeoTIFF files.",
        PUBLIC,
        "Slopes, where water runs together, and the way groundwater goes.",
        fetched=True,
    ),
    "streams": OpenSource(
        "National Hydrography Dataset, US Geological Survey, by The National Map downloader",
        "https://apps.nationalmap.gov/downloader/",
        "Hydrography; NHD by subbasin (HU-8) or by state, GeoPackage or file geodatabase; take the "
        "layer NHDFlowline.",
        PUBLIC,
        "Distance from fields to streams, and where groundwater comes out.",
        fetched=True,
    ),
    "waterbodies": OpenSource(
        "National Hydrography Dataset, US Geological Survey, by The National Map downloader",
        "https://apps.nationalmap.gov/downloader/",
        "The same download as streams; take the layer NHDWaterbody.",
        PUBLIC,
        "Distance from fields to lakes and ponds.",
        fetched=True,
    ),
    "floodplain": OpenSource(
        "National Flood Hazard Layer, Federal Emergency Management Agency",
        "https://msc.fema.gov/portal/advanceSearch",
        "Choose state, county, All Jurisdictions; Search; NFHL Data-County; download; take the "
        "layer S_FLD_HAZ_AR.",
        PUBLIC,
        "Fields that stand under water in a flood.",
        fetched=True,
    ),
    "wells": OpenSource(
        "The state's well-log register (geological survey or water agency)",
        "https://waterdata.usgs.gov",
        "Ask the state for the logs of the county: number, place, depth, casing, screen, water "
        "level, use. The federal page lists only the wells that the US Geological Survey knows.",
        "mostly public; see the state's page",
        "Which wells lie below which fields: the risk to drinking water.",
        fetched=True,
    ),
    "water_levels": OpenSource(
        "National Water Information System, US Geological Survey",
        "https://nwis.waterdata.usgs.gov/nwis/gwlevels",
        "Choose County; choose the county; Tab-separated data; save; the same for the site file.",
        PUBLIC,
        "How deep the water table lies, and which way it falls.",
        fetched=True,
    ),
    "well_samples": OpenSource(
        "Water Quality Portal, National Water Quality Monitoring Council",
        "https://www.waterqualitydata.us",
        "Choose state and county; Site Type: Well; Characteristics: Nitrate and Total Coliform; "
        "Sample results (physical/chemical metadata); comma-separated; the same for site data.",
        PUBLIC,
        "What the predicted nitrate is compared with.",
        fetched=True,
    ),
    "buildings": OpenSource(
        "USA Structures, Federal Emergency Management Agency and Oak Ridge National Laboratory",
        "https://disasters.geoplatform.gov/USA_Structures/",
        "Download by state; take the county's polygons.",
        "see the page (from memory: CC BY 4.0)",
        "Where on a lot the house stands, so where the field may be.",
    ),
    "water_table": OpenSource(
        "State geological survey, where it has mapped the depth to water",
        "",
        "Ask for a raster of the depth to water below ground, with its unit.",
        "mostly public; see the state's page",
        "A measured water table instead of one from levels and terrain.",
    ),
    "wellhead_areas": OpenSource(
        "The state's drinking-water program",
        "https://www.epa.gov/sourcewaterprotection",
        "Ask the state's program for the protection areas of public wells as polygons.",
        "ask the state",
        "Zones for planners around public wells.",
    ),
    "roads": OpenSource(
        "TIGER/Line, US Census Bureau",
        "https://www.census.gov/geographies/mapping-files/time-series/geo/tiger-line-file.html",
        "Choose the year; Web Interface; Roads; All Roads; choose state and county. Or an extract "
        "of OpenStreetMap.",
        PUBLIC,
        "Ways and driving times for a season's visits.",
        fetched=True,
    ),
    "places": OpenSource(
        "TIGER/Line, US Census Bureau",
        "https://www.census.gov/geographies/mapping-files/time-series/geo/tiger-line-file.html",
        "Choose the year; Web Interface; Places; choose the state.",
        PUBLIC,
        "Names of towns on the map, by which people find their way.",
        fetched=True,
    ),
    "public_areas": OpenSource(
        "TIGER/Line, US Census Bureau",
        "https://www.census.gov/geographies/mapping-files/time-series/geo/tiger-line-file.html",
        "Choose the year; Web Interface; Block Groups or Census Tracts; choose the state.",
        PUBLIC,
        "Named areas for the public edition, in place of hexagons.",
        fetched=True,
    ),
}
"""Layer -> its source, in the order in which they help most."""


def where_to_get_page() -> str:
    """Write the handbook's page of sources (Markdown).

    >>> where_to_get_page().startswith("# Where to get each layer")
    True
    """
    lines = [
        "# Where to get each layer",
        "",
        "Public sources, in the order in which they help most. Each layer's page has the address",
        "and the clicks. Names, addresses and clicks are from memory: pages move, and then the",
        "name of the service helps. `riskmap new` writes the same as a checklist of what a county",
        "lacks, with the extent to ask for. [`riskmap fetch`](../fetching.md) gets those marked.",
        "",
        "| layer | what it adds | source | license | fetched |",
        "|---|---|---|---|---|",
    ]
    for layer, source in OPEN_SOURCES.items():
        fetched = "yes" if source.fetched else ""
        cells = (f"[{layer}]({layer}.md)", source.adds, source.name, source.license, fetched)
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"
