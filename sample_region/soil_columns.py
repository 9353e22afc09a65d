"""Tables of a soil-survey export: file stem and columns in order, with logical types.

Facts of the public distribution format (version 2.3.3). ``name*`` means the three columns
``name_l``, ``name_r`` and ``name_h``. Types: s text, c choice, i integer, f float, b boolean,
d date and time, v long text.
"""

from __future__ import annotations

from typing import Final

TYPES: Final = {
    "s": "String",
    "c": "Choice",
    "i": "Integer",
    "f": "Float",
    "b": "Boolean",
    "d": "Date/Time",
    "v": "Vtext",
}

_TABLES: Final = """
legend legend
  areatypename:s areasymbol:s areaname:s areaacres:i mlraoffice:c legenddesc:s ssastatus:c
  mouagncyresp:c projectscale:i cordate:d ssurgoarchived:d legendsuituse:c legendcertstat:c lkey:s
mapunit mapunit
  musym:s muname:s mukind:c mustatus:c muacres:i mapunitlfw*:i mapunitpfa*:f farmlndcl:c
  muhelcl:c muwathelcl:c muwndhelcl:c interpfocus:s invesintens:c iacornsr:i nhiforsoigrp:c
  nhspiagr:f vtsepticsyscl:c mucertstat:c lkey:s mukey:s
component comp
  comppct*:i compname:s compkind:c majcompflag:b otherph:s localphase:s slope*:f slopelenusle*:i
  runoff:c tfact:i wei:c weg:c erocl:c earthcovkind1:c earthcovkind2:c hydricon:c hydricrating:c
  drainagecl:c elev*:f aspectccwise:i aspectrep:i aspectcwise:i geomdesc:v albedodry*:f airtempa*:f
  map*:i reannualprecip*:i ffd*:i nirrcapcl:c nirrcapscl:c nirrcapunit:i irrcapcl:c irrcapscl:c
  irrcapunit:i cropprodindex:i constreeshrubgrp:c wndbrksuitgrp:c rsprod*:i foragesuitgrpid:s
  wlgrain:c wlgrass:c wlherbaceous:c wlshrub:c wlconiferous:c wlhardwood:c wlwetplant:c
  wlshallowwat:c wlrangeland:c wlopenland:c wlwoodland:c wlwetland:c soilslippot:c frostact:c
  initsub*:i totalsub*:i hydgrp:c corcon:c corsteel:c taxclname:s taxorder:c taxsuborder:c
  taxgrtgroup:c taxsubgrp:c taxpartsize:c taxpartsizemod:c taxceactcl:c taxreaction:c taxtempcl:c
  taxmoistscl:c taxtempregime:c soiltaxedition:c castorieindex:i flecolcomnum:s flhe:c flphe:c
  flsoilleachpot:c flsoirunoffpot:c fltemik2use:c fltriumph2use:c indraingrp:s innitrateleachi:i
  misoimgmtgrp:c vasoimgtgrp:c mukey:s cokey:s
chorizon chorizon
  hzname:s desgndisc:i desgnmaster:c desgnmasterprime:c desgnvert:i hzdept*:i hzdepb*:i hzthk*:i
  fraggt10*:i frag3to10*:i sieveno4*:f sieveno10*:f sieveno40*:f sieveno200*:f sandtotal*:f
  sandvc*:f sandco*:f sandmed*:f sandfine*:f sandvf*:f silttotal*:f siltco*:f siltfine*:f
  claytotal*:f claysizedcarb*:f om*:f dbtenthbar*:f dbthirdbar*:f dbfifteenbar*:f dbovendry*:f
  partdensity:f ksat*:f awc*:f wtenthbar*:f wthirdbar*:f wfifteenbar*:f wsatiated*:i lep*:f ll*:f
  pi*:f aashind*:i kwfact:c kffact:c caco3*:i gypsum*:i sar*:f ec*:f cec7*:f ecec*:f sumbases*:f
  ph1to1h2o*:f ph01mcacl2*:f freeiron*:f feoxalate*:f extracid*:f extral*:f aloxalate*:f pbray1*:f
  poxalate*:f ph2osoluble*:f ptotal*:f excavdifcl:c excavdifms:c cokey:s chkey:s
comonth cmonth
  monthseq:i month:c flodfreqcl:c floddurcl:c pondfreqcl:c ponddurcl:c ponddep*:i dlyavgprecip*:i
  dlyavgpotet*:i cokey:s comonthkey:s
cosoilmoist csmoist
  soimoistdept*:i soimoistdepb*:i soimoiststat:c comonthkey:s cosoilmoistkey:s
corestrictions crstrcts
  reskind:c reshard:c resdept*:i resdepb*:i resthk*:i cokey:s corestrictkey:s
chtexturegrp chtexgrp
  texture:s stratextsflag:b rvindicator:b texdesc:v chkey:s chtgkey:s
chtexture chtextur
  texcl:c lieutex:c chtgkey:s chtkey:s
chtexturemod chtexmod
  texmod:c chtkey:s chtexmodkey:s
chfrags chfrags
  fragvol*:i fragkind:c fragsize*:i fragshp:c fraground:c fraghard:c chkey:s chfragskey:s
chtext chtext
  recdate:d chorizontextkind:c textcat:s textsubcat:s text:v chkey:s chtextkey:s
cotext ctext
  recdate:d comptextkind:c textcat:s textsubcat:s text:v cokey:s cotextkey:s
mutext mutext
  recdate:d mapunittextkind:c textcat:s textsubcat:s text:v mukey:s mutextkey:s
muaggatt muaggatt
  musym:s muname:s mustatus:c slopegraddcp:f slopegradwta:f brockdepmin:i wtdepannmin:i
  wtdepaprjunmin:i flodfreqdcd:c flodfreqmax:c pondfreqprs:c aws025wta:f aws050wta:f aws0100wta:f
  aws0150wta:f drclassdcd:c drclasswettest:c hydgrpdcd:c iccdcd:c iccdcdpct:i niccdcd:c
  niccdcdpct:i engdwobdcd:s engdwbdcd:s engdwbll:s engdwbml:s engstafdcd:s engstafll:s engstafml:s
  engsldcd:s engsldcp:s englrsdcd:s engcmssdcd:s engcmssmp:s urbrecptdcd:s urbrecptwta:f
  forpehrtdcp:s hydclprs:c awmmfpwwta:f mukey:s
sacatalog sacatlog
  areasymbol:s areaname:s saversion:i saverest:d tabularversion:i tabularverest:d
  tabnasisexportdate:d tabcertstatus:c tabcertstatusdesc:v fgdcmetadata:v sacatalogkey:s
mdstattabs mstab
  tabphyname:s tablogname:s tablabel:s tabdesc:v iefilename:s
mdstattabcols mstabcol
  tabphyname:s colsequence:i colphyname:s collogname:s collabel:s logicaldatatype:c notnull:b
  fieldsize:i precision:i minimum:f maximum:f uom:s domainname:s coldesc:v
"""


def _parsed(text: str) -> tuple[dict[str, str], dict[str, list[tuple[str, str]]]]:
    stems: dict[str, str] = {}
    columns: dict[str, list[tuple[str, str]]] = {}
    table = ""
    for line in text.strip().splitlines():
        if not line.startswith(" "):
            table, stem = line.split()
            stems[table], columns[table] = stem, []
            continue
        for token in line.split():
            name, kind = token.split(":")
            names = [f"{name[:-1]}_{end}" for end in "lrh"] if name.endswith("*") else [name]
            columns[table].extend((one, TYPES[kind]) for one in names)
    return stems, columns


STEMS, COLUMNS = _parsed(_TABLES)
"""Table -> file stem; table -> its columns with logical types."""
