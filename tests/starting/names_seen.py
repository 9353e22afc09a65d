"""Column names as assessors, permit offices and well registers write them, with made values.

Names are facts of the trade from memory, no source. Each column lists several; a table is drawn by
taking one of each.
"""

from __future__ import annotations

import random

import pandas as pd

ROWS = 60
NAMES: dict[str, dict[str, str]] = {
    "parcels": {
        "parcel_id": (
            "PARCELID PARNO PIN14 PARCEL_ID_NR PROP_ID TAXPIN LOWPARCELID APN PARCELNUMB "
            "TAX_MAP_NO ALTPARNO SCHEDULE_NO PARCELNO MAP_PAR_ID PRINT_KEY PARCEL_NUM PCN "
            "PARCEL_KEY GPIN PARID FOLIO_NUM TAXLOTID ACCT_NO PIDN MapBlkLot UPC_CODE "
            "ParcelNbr PARCELSPIN PROPNUM"
        ),
        "address": (
            "SITEADD SITUS PHYS_ADDR LOC_ADDR PROP_LOC PHYADDR SITE_ADDR1 FULL_ADDR PROP_ADDR "
            "SITE_ADDRESS PROPERTY_ADDRESS LOCATION ADDRESS1 StreetAddress PROPADDR "
            "SITUS_FULL SiteAddr LOCADDR ADDR_FULL"
        ),
        "year_built": (
            "YR_BUILT ACT_YR_BLT YEARBLT STRUCTYEAR YRBLT YEAR_BLT RESYRBLT ActualYearBuilt "
            "YEAR_CONST AYB YrBuilt YR_BLT_1 BUILT_YR YEARBUILT1 YrBlt1 BLDG_YR "
            "YearBuiltActual RYRBLT ORIG_YR_BLT"
        ),
        "land_use": (
            "DOR_UC PARUSECODE PROPCLASS PROP_CLASS LANDUSE USECD USE_CODE LUC PROP_TYPE "
            "CLASS_CD LANDUSE_CD PropertyUse UseDesc LU_CODE LANDUSECODE PROP_USE "
            "StateUseCode CLASSCD LandUseDesc"
        ),
        "living_area_m2|ft2": (
            "TOT_LVG_AR LIV_AREA SQFT_LIV HEATEDAREA BLDGSQFT FINSQFT SFLA TOTLIVAREA "
            "AREA_LIV LIVING_SF RES_SQFT LIVINGAREA TotSqFt SQ_FT HtdSqFt LVG_AREA ResFlrArea "
            "GROSS_SF TOT_FIN_SF AboveGradeSqFt"
        ),
        "bedrooms": (
            "BEDROOMS NUM_BED NBR_BEDRM BED_ROOMS NO_BEDRMS BR BEDS BDRM_CNT BEDROOM BED_CNT "
            "NumBeds BDRMS_TOT TOTALBEDS"
        ),
        "recorded_area_m2|acre": (
            "ACRES CALC_ACRES GISACRES DEEDACRES ACREAGE TOTAL_ACRE LOT_ACRES LEGAL_ACRE "
            "ACRES_1 AC_TOTAL LAND_AC LandAcres STATEDAREA ASSDACRES GIS_AC"
        ),
        "owner": (
            "OWN_NAME OWNNAME OWNER1 OWNER_NAME1 PRIMARY_OWNER OWNER OWNERNME1 OwnName1 "
            "OWNER_1 OWNER_FULL"
        ),
        "mail_address": (
            "OWN_ADDR1 MAILADD MAIL_ADD MAILADR1 OWNADDR MAIL_ADDRESS_1 MAILADDR1 PSTLADDRESS "
            "OwnerAddress TaxMailAddr OWN_ADD_1"
        ),
        "mail_zip": ("OWN_ZIPCD MAILZIP5 MAIL_ZIP OWN_ZIP PSTLZIP5 OwnerZip MZIP5 MAIL_ZIPCODE"),
        "improved": (
            "IMPVALUE BLDGVAL IMPROV_VAL STRUC_VAL BLDG_VALUE IMP_VAL IMPROVEMENT_VALUE "
            "BldgAssd CNTASSDVAL ImpValue APPR_IMPR STRUCTVAL"
        ),
    },
    "permits": {
        "permit_id": (
            "PERMITNO PERMIT_NUM SEPTIC_NO CASE_NO RECORD_ID APP_NUM PERMIT_ID PermitID "
            "PERM_NO SEPT_PERMIT OSSF_NO FILE_NUM APPL_NO PERMNUM"
        ),
        "action": (
            "WORK_TYPE PERMIT_TYP PURPOSE ACTION_CD WORKCLASS PERMIT_TYPE APP_TYPE "
            "PermitPurpose TYPE_OF_WORK WORKDESC REASON_CD"
        ),
        "kind": (
            "SYS_TYPE SYSTEM_TYP DISP_TYPE SystemType SEPTIC_TYP TYPE_SYS SEPTIC_SYSTEM_TYPE "
            "TREATMENT OSS_TYPE SysDesign TYPEOFSYS"
        ),
        "issued": (
            "PERM_DATE DATE_ISS ISSUE_DT PERMIT_DT DateIssued ISSUED_ON PERMITDATE ISSUE_DATE "
            "DATE_PERM dt_issued PmtIssued"
        ),
        "inspected": (
            "FINAL_INSP DATE_INSTALLED INSTALL_DT APPR_DATE INSP_DT FINAL_DT INSPECTION_DATE "
            "DT_INSP FinalApproval DATEINST COMPLETED COC_DATE"
        ),
        "tank_volume_l|gal": (
            "TANK_CAP SEPTANK_GAL TANKVOL TankSizeGal TANK_SIZE SEPTIC_TNK_SZ TANK_GALLONS "
            "TNKSIZE GALLONS STank_Cap_Gal SEPTIC_GAL"
        ),
        "design_flow_l_d|gpd": (
            "DSGN_FLOW GPD_FLOW FLOW_RATE EST_FLOW DAILY_FLOW DESIGN_GPD GPD DESIGNFLO "
            "FLOWGPD TOT_GPD Q_DESIGN"
        ),
        "field_area_m2|ft2": (
            "ABS_AREA DF_SQFT LEACH_SF DRAINFLD_SF FIELD_SQFT ABSORB_AREA DRAIN_SQFT FIELD_SF "
            "SqFtField BED_SQFT LCH_AREA DISP_AREA"
        ),
        "bedrooms": "BEDRM NUM_BDRMS BEDROOMS BEDROOM_NO NBEDS BR_COUNT",
    },
    "wells": {
        "well_id": (
            "WELLID WELL_NUM UNIQUE_NO WELL_TAG_NO LOG_ID WELL_NBR WELLNUM WELL_LOG "
            "WELL_REPORT WELLNO WCR_NO RELATEID PERMIT_WELL WID WELL_KEY"
        ),
        "use": (
            "USE_C WELLUSE PROPOSED_USE USE_CODE WELL_TYPE PRIMARY_USE WTR_USE UseOfWell "
            "PLANNEDUSE WELLUSE_DS"
        ),
        "depth_m|ft": (
            "TOT_DEPTH WELL_DEPTH DEPTH_COMP DEPTH_DRLL COMP_DEPTH TOTALDEPTH DEPTH_FT "
            "DEPTHWELL WELLDEPTH TD DRILLDEPTH FINALDEPTH MAX_DEPTH"
        ),
        "casing_m|ft": (
            "CASE_DEPTH CASING_LEN CSG_DEPTH CASING_FT CSG_BOT CASINGDEP CSGLEN CASE_TO "
            "CasingLengthFt"
        ),
        "static_level_m|ft": (
            "SWL STAT_LEVEL STATIC_WL SWL_FT STATICLEV DEPTH2WATER STATIC_LEV WTR_LVL DTW "
            "StaticWtr STATICWAT SWLBLS"
        ),
        "drilled": (
            "DATE_DRLL DRILL_DATE COMPL_DATE CONST_DATE CONSTDATE DATE_COMP COMPLETION_DATE "
            "DRILLED_DT DateCompleted CONSTRUCT_DT"
        ),
        "yield_l_d|gpm": (
            "TEST_RATE YIELD_GPM PUMP_GPM YIELD TESTYIELD YLD_GPM PUMPRATE WELL_YIELD "
            "EstYieldGPM CAPACITY"
        ),
    },
}
OTHER = {
    "parcels": "OBJECTID LAND_VAL TOT_VAL SALE_PRICE SALE_DATE EFF_YR_BLT BATHS ZONING LEGAL_DESC"
    "TAX_DIST SCHOOL_CD DEED_BOOK STORIES Shape_Area",
    "permits": "OBJECTID APPLICANT INSTALLER APP_DATE EXP_DATE STATUS COMMENTS FEE PUMP_TANK "
        "INSPECTOR",
    "wells": "OBJECTID OWNER_NAME DRILLER CASING_DIA BEDROCK_DP SCREEN_DIA COUNTY LOCATION "
        "ENTRY_DATE",
}  # fmt: skip


def values(name: str, dice: random.Random) -> list[object]:
    """Plausible values of a canonical column, or of another column by its name."""
    made = {
        "parcel_id": lambda n: f"{10 + n % 5}-{n:04d}-{dice.randint(100, 999)}",
        "permit_id": lambda n: f"OS-{1980 + n % 40}-{n:03d}",
        "well_id": lambda n: str(200_000 + n),
        "address": lambda n: f"{100 + n} INVENTED LANE",
        "mail_address": lambda n: f"PO BOX {n}" if n % 4 else f"{n} PRETEND ROAD",
        "mail_zip": lambda n: f"{n:05d}",
        "owner": lambda n: f"OWNER {n}",
        "year_built": lambda n: dice.randint(1935, 2024) if n % 9 else 0,
        "land_use": lambda _: dice.choice(["101", "102", "200", "SFR", "VAC"]),
        "living_area_m2": lambda _: dice.randint(800, 3200),
        "bedrooms": lambda _: dice.randint(1, 5),
        "recorded_area_m2": lambda _: round(dice.uniform(0.3, 12), 2),
        "improved": lambda _: dice.choice([0, 92_000, 180_000, 240_500]),
        "action": lambda _: dice.choice(["NEW", "REPAIR", "NEW", "ALTERATION"]),
        "kind": lambda _: dice.choice(["CONVENTIONAL", "MOUND", "ATU", "BED"]),
        "tank_volume_l": lambda _: dice.choice([750, 1000, 1250, 1500]),
        "design_flow_l_d": lambda _: dice.choice([300, 450, 600]),
        "field_area_m2": lambda _: dice.randint(400, 1400),
        "use": lambda _: dice.choice(["DOMESTIC", "DOMESTIC", "IRRIGATION", "MONITORING"]),
        "depth_m": lambda _: dice.randint(60, 420),
        "casing_m": lambda _: dice.randint(30, 180),
        "static_level_m": lambda _: dice.randint(8, 90),
        "yield_l_d": lambda _: dice.choice([5, 8, 10, 15, 30]),
    }
    dated = {"issued", "inspected", "drilled"}
    if name in dated or name.endswith("_DATE"):
        return [f"{dice.randint(1, 12)}/{dice.randint(1, 28)}/{dice.randint(1970, 2024)}"
                for _ in range(ROWS)]  # fmt: skip
    if name in made:
        return [made[name](n) for n in range(ROWS)]
    if name == "OBJECTID":
        return list(range(1, ROWS + 1))
    if name in ("EFF_YR_BLT",):
        return [dice.randint(1960, 2020) for _ in range(ROWS)]
    numeric = ("VAL", "PRICE", "BATHS", "STORIES", "Area", "DIA", "BEDROCK", "FEE", "BOOK", "TANK")
    if any(part in name for part in numeric):
        return [dice.randint(1, 9) if "B" in name[:1] else dice.randint(1, 400_000)
                for _ in range(ROWS)]  # fmt: skip
    return [dice.choice(["A", "B", "C", "NORTH", "SOUTH"]) for _ in range(ROWS)]


def table(layer: str, seed: int) -> tuple[pd.DataFrame, dict[str, str]]:
    """Draw a table of a layer and its right answers."""
    dice = random.Random(f"{layer} {seed}")
    columns: dict[str, list[object]] = {}
    truth = {}
    for entry, names in NAMES[layer].items():
        column, _, unit = entry.partition("|")
        name = dice.choice([one for one in names.split() if one not in columns])
        columns[name] = values(column, dice)
        truth[column] = f"{name}|{unit}" if unit else name
    for name in OTHER[layer].split():
        columns.setdefault(name, values(name, dice))
    order = list(columns)
    dice.shuffle(order)
    return pd.DataFrame({name: columns[name] for name in order}), truth
