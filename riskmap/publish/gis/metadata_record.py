"""The metadata record of a run: ISO 19115:2003 in the XML of ISO/TS 19139:2007.

Element names and their order are those of ISO/TS 19139 (from memory). The older pair is chosen over
ISO 19115-1:2014 with ISO/TS 19115-3 because catalogs of counties and states read it everywhere.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from xml.etree import ElementTree as ET

from riskmap.publish.words.text_safety import plain_text

NAMESPACES: Final = {
    "gmd": "http://www.isotc211.org/2005/gmd",
    "gco": "http://www.isotc211.org/2005/gco",
    "gml": "http://www.opengis.net/gml/3.2",
}
CODE_LISTS: Final = "http://standards.iso.org/iso/19139/resources/gmxCodelists.xml"
TOPICS: Final = ("environment", "health", "inlandWaters")


@dataclass(frozen=True)
class CatalogRecord:
    """What the record says; texts are made plain on writing.

    ``box`` is west, south, east, north in degrees; ``inputs`` maps input files to SHA-256 sums;
    ``files`` maps the run's files to titles.
    """

    identifier: str
    title: str
    abstract: str
    date: datetime.date
    organization: str
    contact: str
    box: tuple[float, float, float, float]
    crs_code: str | None
    keywords: tuple[str, ...]
    cautions: tuple[str, ...]
    license: str
    lineage: str
    inputs: Mapping[str, str]
    files: Mapping[str, str]


def compose_record(record: CatalogRecord) -> str:
    """Return the text of the XML file."""
    for prefix, address in NAMESPACES.items():
        ET.register_namespace(prefix, address)
    root = _element(
        "gmd:MD_Metadata",
        _text("gmd:fileIdentifier", record.identifier),
        _element("gmd:language", _code("gmd:LanguageCode", "eng")),
        _element("gmd:characterSet", _code("gmd:MD_CharacterSetCode", "utf8")),
        _element("gmd:hierarchyLevel", _code("gmd:MD_ScopeCode", "dataset")),
        _element("gmd:contact", _party(record)),
        _element("gmd:dateStamp", _element("gco:Date", text=record.date.isoformat())),
        _text("gmd:metadataStandardName", "ISO 19115:2003 Geographic information - Metadata"),
        _text("gmd:metadataStandardVersion", "ISO/TS 19139:2007"),
        *_reference_system(record),
        _element("gmd:identificationInfo", _identification(record)),
        _element("gmd:distributionInfo", _distribution(record)),
        _element("gmd:dataQualityInfo", _quality(record)),
    )
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _element(name: str, *children: ET.Element, text: str = "", **attributes: str) -> ET.Element:
    element = ET.Element(_qualified(name), {k: v for k, v in attributes.items() if v})
    if text:
        element.text = plain_text(text)
    element.extend(children)
    return element


def _qualified(name: str) -> str:
    prefix, _, local = name.partition(":")
    return f"{{{NAMESPACES[prefix]}}}{local}"


def _text(name: str, text: str) -> ET.Element:
    return _element(name, _element("gco:CharacterString", text=text))


def _code(name: str, value: str) -> ET.Element:
    kind = name.partition(":")[2]
    return _element(name, text=value, codeList=f"{CODE_LISTS}#{kind}", codeListValue=value)


def _party(record: CatalogRecord) -> ET.Element:
    contact = [_text("gmd:individualName", record.contact)] if plain_text(record.contact) else []
    return _element(
        "gmd:CI_ResponsibleParty",
        *contact,
        _text("gmd:organisationName", record.organization),
        _element("gmd:role", _code("gmd:CI_RoleCode", "pointOfContact")),
    )


def _reference_system(record: CatalogRecord) -> Iterable[ET.Element]:
    if record.crs_code is None:
        return []
    space, _, code = record.crs_code.partition(":")
    identifier = _element(
        "gmd:RS_Identifier", _text("gmd:code", code), _text("gmd:codeSpace", space)
    )
    system = _element(
        "gmd:MD_ReferenceSystem", _element("gmd:referenceSystemIdentifier", identifier)
    )
    return [_element("gmd:referenceSystemInfo", system)]


def _identification(record: CatalogRecord) -> ET.Element:
    return _element(
        "gmd:MD_DataIdentification",
        _element("gmd:citation", _citation(record.title, record.date)),
        _text("gmd:abstract", record.abstract),
        _text("gmd:purpose", "To decide where onsite systems and wells are visited first."),
        _element("gmd:status", _code("gmd:MD_ProgressCode", "completed")),
        _element("gmd:pointOfContact", _party(record)),
        _element("gmd:descriptiveKeywords", _keywords(record)),
        _element("gmd:resourceConstraints", _constraints(record)),
        _element(
            "gmd:spatialRepresentationType",
            _code("gmd:MD_SpatialRepresentationTypeCode", "vector"),
        ),
        _element("gmd:language", _code("gmd:LanguageCode", "eng")),
        _element("gmd:characterSet", _code("gmd:MD_CharacterSetCode", "utf8")),
        *(
            _element("gmd:topicCategory", _element("gmd:MD_TopicCategoryCode", text=topic))
            for topic in TOPICS
        ),
        _element("gmd:extent", _extent(record)),
    )


def _citation(title: str, date: datetime.date) -> ET.Element:
    stamp = _element(
        "gmd:CI_Date",
        _element("gmd:date", _element("gco:Date", text=date.isoformat())),
        _element("gmd:dateType", _code("gmd:CI_DateTypeCode", "creation")),
    )
    return _element("gmd:CI_Citation", _text("gmd:title", title), _element("gmd:date", stamp))


def _keywords(record: CatalogRecord) -> ET.Element:
    return _element(
        "gmd:MD_Keywords",
        *(_text("gmd:keyword", word) for word in record.keywords),
        _element("gmd:type", _code("gmd:MD_KeywordTypeCode", "theme")),
    )


def _constraints(record: CatalogRecord) -> ET.Element:
    restricted = _code("gmd:MD_RestrictionCode", "otherRestrictions")
    again = _code("gmd:MD_RestrictionCode", "otherRestrictions")
    return _element(
        "gmd:MD_LegalConstraints",
        *(_text("gmd:useLimitation", caution) for caution in record.cautions),
        _element("gmd:accessConstraints", restricted),
        _element("gmd:useConstraints", again),
        _text("gmd:otherConstraints", record.license),
    )


def _extent(record: CatalogRecord) -> ET.Element:
    names = (
        "westBoundLongitude",
        "eastBoundLongitude",
        "southBoundLatitude",
        "northBoundLatitude",
    )
    west, south, east, north = record.box
    sides = [
        _element(f"gmd:{name}", _element("gco:Decimal", text=f"{value:.6f}"))
        for name, value in zip(names, (west, east, south, north), strict=True)
    ]
    box = _element("gmd:EX_GeographicBoundingBox", *sides)
    instant = _element(
        "gml:TimeInstant", _element("gml:timePosition", text=record.date.isoformat())
    )
    instant.set(_qualified("gml:id"), "moment-of-the-run")
    moment = _element("gmd:EX_TemporalExtent", _element("gmd:extent", instant))
    return _element(
        "gmd:EX_Extent",
        _element("gmd:geographicElement", box),
        _element("gmd:temporalElement", moment),
    )


def _distribution(record: CatalogRecord) -> ET.Element:
    formats = [
        _element(
            "gmd:distributionFormat",
            _element("gmd:MD_Format", _text("gmd:name", name), _text("gmd:version", version)),
        )
        for name, version in (("GeoPackage", "1.3"), ("GeoParquet", "1.1.0"))
    ]
    online = [
        _element(
            "gmd:onLine",
            _element(
                "gmd:CI_OnlineResource",
                _element("gmd:linkage", _element("gmd:URL", text=f"../{path}")),
                _text("gmd:name", title),
            ),
        )
        for path, title in record.files.items()
    ]
    transfer = _element("gmd:MD_DigitalTransferOptions", *online)
    return _element("gmd:MD_Distribution", *formats, _element("gmd:transferOptions", transfer))


def _quality(record: CatalogRecord) -> ET.Element:
    scope = _element("gmd:DQ_Scope", _element("gmd:level", _code("gmd:MD_ScopeCode", "dataset")))
    sources = [
        _element(
            "gmd:source",
            _element("gmd:LI_Source", _text("gmd:description", f"{path}, SHA-256 {digest}")),
        )
        for path, digest in record.inputs.items()
    ]
    lineage = _element(
        "gmd:LI_Lineage",
        _text(
            "gmd:statement",
            f"{record.lineage} Open soil, terrain, water, parcel, permit and well data were read, "
            "every parcel described with marks of how each value is known, scored by an additive "
            "model, and ranked. The run record (run.json) repeats it to the byte.",
        ),
        *sources,
    )
    return _element(
        "gmd:DQ_DataQuality",
        _element("gmd:scope", scope),
        _element("gmd:lineage", lineage),
    )
