"""The site file: the buses and the pumps of a site, as a person wrote them."""

from collector.site.models import Bus, DataSheetPoint, Provenance, Pump, Site
from collector.site.site_file import SiteFileError, load_site

__all__ = ["Bus", "DataSheetPoint", "Provenance", "Pump", "Site", "SiteFileError", "load_site"]
