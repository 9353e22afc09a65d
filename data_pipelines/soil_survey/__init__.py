"""The soil survey as distributed, read into the canonical soil layers.

:func:`read_soil_survey` takes survey areas as folders or zip files of the tabular export with its
shapefile, as SQLite or GeoPackage, as CSV tables, or as kept replies of the soil data web service.
"""

from __future__ import annotations

from data_pipelines.soil_survey.reader import SoilSurvey, read_soil_survey
from data_pipelines.soil_survey.stores import parse_reply

__all__ = ["SoilSurvey", "parse_reply", "read_soil_survey"]
