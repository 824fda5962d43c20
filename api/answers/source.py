"""What every answer is made from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from api.analysis.facts_of_site import pump_facts
from api.analysis.write_result import read_mark
from api.analytics.facts import PumpFacts
from api.store.api_store import SCHEMA, ApiStore, open_api_store
from collector.clock import Clock
from collector.site import Pump, Site, load_site
from collector.store import Store, open_store
from collector.store.database import may_only_read, open_to_read
from collector.store.migrate import COLLECTOR, must_be_up_to_date


@dataclass(frozen=True, slots=True)
class Source:
    """A site with its readings, what is derived from them, and the time it is there."""

    site: Site
    store: Store
    api_store: ApiStore
    clock: Clock

    def pump(self, name: str) -> Pump | None:
        """Return the pump of this name, ``None`` when the site has none."""
        return next((pump for pump in self.site.pumps if pump.name == name), None)

    def facts(self, pump: Pump) -> PumpFacts:
        """Return what is known of a pump besides its readings."""
        interval_s = read_mark(self.api_store, pump.name).interval_s
        return pump_facts(self.site, pump, events=self.api_store.events(pump.name), interval_s=interval_s)

    def close(self) -> None:
        """Close the database."""
        self.store.close()
        self.api_store.close()


def open_source_to_read(site_file: Path, clock: Clock | None = None) -> Source:
    """Open a site's answers for a command that changes nothing: it needs no right to write.

    Raises
    ------
    collector.site.SiteFileError, collector.store.StoreError
        With one line for a person.
    """
    site = load_site(site_file)
    if not may_only_read(site.database_url):
        return open_source(site_file, clock)
    database = open_to_read(site.database_url)
    try:
        must_be_up_to_date(database, COLLECTOR)
        must_be_up_to_date(database, SCHEMA)
        return Source(site, Store(database), ApiStore(database), clock or Clock())
    except BaseException:
        database.close()
        raise


def open_source(site_file: Path, clock: Clock | None = None) -> Source:
    """Open everything a site's answers are made from, made or migrated if need be.

    Raises
    ------
    collector.site.SiteFileError, collector.store.StoreError
        With one line for a person.
    """
    site = load_site(site_file)
    store = open_store(site.database_url)
    try:
        return Source(site, store, open_api_store(site.database_url), clock or Clock())
    except BaseException:
        store.close()
        raise
