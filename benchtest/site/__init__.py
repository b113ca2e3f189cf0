"""A site file: the depot around the benches, its name and address, its logo, its language, its own terms."""

from benchtest.site.document import Depot, Site
from benchtest.site.load import ENVIRONMENT, LoadedSite, find_site, load_site

__all__ = ["ENVIRONMENT", "Depot", "LoadedSite", "Site", "find_site", "load_site"]
