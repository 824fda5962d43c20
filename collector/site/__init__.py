"""The site file: the buses and the pumps of a site, as a person wrote them."""

from collector.site.data_sheet import DataSheetPoint
from collector.site.models import Bus, Provenance, Pump, Site
from collector.site.nameplate import Bearing, Control, Nameplate, Taps
from collector.site.site_file import SiteFileError, load_site
from collector.site.upkeep import Upkeep, upkeep_of

__all__ = [
    "Bearing",
    "Bus",
    "Control",
    "DataSheetPoint",
    "Nameplate",
    "Provenance",
    "Pump",
    "Site",
    "SiteFileError",
    "Taps",
    "Upkeep",
    "load_site",
    "upkeep_of",
]
