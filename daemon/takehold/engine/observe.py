"""One look at the world: which cards lie there with which files, which destinations take copies.

Nothing is concluded from absence: a root that cannot be listed to its end says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from takehold.decide.apart import meets
from takehold.decide.enrol import Arrival
from takehold.decide.keys import folder_key
from takehold.decide.litter import HIDDEN_AUDIO, matters, sort_litter
from takehold.decide.settle import settled
from takehold.decide.sources import matches, volumes_for
from takehold.engine.patience import Patience
from takehold.formats.names import display, shown
from takehold.model.errors import TakeholdError, VolumeGone
from takehold.model.facts import Skip, Trouble
from takehold.model.recording import Stamp
from takehold.model.settings import Destination, Settings, Source
from takehold.model.situation import Sighted, Target
from takehold.model.volume import Root, Volume
from takehold.ports.catalogue import Catalogue
from takehold.ports.clock import Clock
from takehold.ports.disk import Disk, Listing
from takehold.ports.volumes import Absent, Volumes

MUTE_DRIVE = "mute-drive"


@dataclass(frozen=True, slots=True)
class Found:
    """A source's root as it was listed: an arrival, its litter and what was skipped."""

    arrival: Arrival
    watched: bool
    root_id: str
    litter: tuple[tuple[str, int], ...]
    skipped: tuple[Skip, ...]

    @property
    def place(self) -> str:
        """The mount and the folder on it that it was found at."""
        root = self.arrival.root
        return f"{root.volume.mount_id} {root.identity}"


@dataclass(slots=True)
class Look:
    """What one look found. `alarms` are standing sentences, keyed, that end with their cause."""

    found: list[Found] = field(default_factory=list)
    targets: list[Target] = field(default_factory=list)
    absent: list[str] = field(default_factory=list)
    alarms: dict[str, Trouble] = field(default_factory=dict)


class Observer:
    """Looks; remembers only how long each file has stood still."""

    def __init__(
        self,
        settings: Settings,
        volumes: Volumes,
        disk: Disk,
        catalogue: Catalogue,
        clock: Clock,
        patience: Patience,
    ) -> None:
        self.settings = settings
        self._volumes = volumes
        self._disk = disk
        self._catalogue = catalogue
        self._clock = clock
        self._patience = patience
        self._still: dict[str, dict[bytes, tuple[Stamp, int]]] = {}
        self._swept: set[tuple[str, str]] = set()

    def forget(self) -> None:
        """What was seen before a sleep says nothing about now."""
        self._still.clear()
        self._swept.clear()

    def look(self) -> Look:
        """Look at everything that is mounted now."""
        look = Look()
        mounted = self._volumes.mounted()
        sources = list(self._source_roots(mounted, look))
        for source, root in sources:
            self._list(source, root, look)
        self._refuse_doubles(look)
        self._report_twins(look)
        self._report_silent(look)
        for destination in self.settings.destinations:
            self._destination(destination, mounted, sources, look)
        here = {v.mount_id for v in mounted}
        self._swept = {place for place in self._swept if place[0] in here}
        return look

    # -- sources

    def _source_roots(
        self, mounted: tuple[Volume, ...], look: Look
    ) -> Iterable[tuple[Source, Root]]:
        for source in self.settings.sources:
            if source.label is not None:
                for volume in volumes_for(source.label, mounted):
                    yield source, self._volumes.root(volume)
            elif source.path is not None:
                root = self._folder(source.name, source.path)
                if isinstance(root, Absent):
                    says = f"The folder of the source {shown(source.name)}: {root.says}"
                    self._alarm(look, f"source {source.name}", "source-absent", says)
                else:
                    yield source, root

    def _folder(self, name: str, path: bytes) -> Root | Absent:
        key = folder_key(name, path)
        known = self._catalogue.folder_identity(key)
        root = self._volumes.folder(path, known)
        if known is None and not isinstance(root, Absent):
            self._catalogue.know_folder(key, root.identity)
        return root

    def _list(self, source: Source, root: Root, look: Look) -> None:
        def listing() -> Listing:
            with self._disk.source(root) as tree:
                return tree.listing()

        place = display(root.path)
        try:
            listed = self._patience.ask(f"list {root.volume.mount_id} {place}", listing)
        except TakeholdError as error:
            if isinstance(error, VolumeGone) and self._went(root):
                return  # pulled while it was looked at: it is not in
            says = f"{shown(source.name)} at {place} cannot be listed: {error.says}"
            self._alarm(look, f"list {root.identity}", error.code, says, error.do)
            return
        parted = sort_litter(listed.files)
        sizes = {path: stamp.size for path, stamp in listed.files}
        hidden = tuple(
            Skip(path, f"{HIDDEN_AUDIO}, {sizes[path]} bytes") for path in parted.hidden_audio
        )
        unread = [s for s in listed.skipped if s.why.startswith("unreadable")]
        complete = listed.complete or (bool(unread) and not any(matters(s) for s in unread))
        look.found.append(
            Found(
                Arrival(source, root, parted.files, complete),
                watched=source.path is not None,
                root_id=listed.root_id,
                litter=parted.litter,
                skipped=tuple(sorted((*listed.skipped, *hidden), key=lambda s: s.path)),
            )
        )

    def _went(self, root: Root) -> bool:
        return all(v.mount_id != root.volume.mount_id for v in self._volumes.mounted())

    def _refuse_doubles(self, look: Look) -> None:
        """One folder that answers to two sources would be its own backup."""
        by_root: dict[str, list[Found]] = {}
        for found in look.found:
            by_root.setdefault(found.root_id, []).append(found)
        for same in by_root.values():
            if len(same) < 2:
                continue
            names = ", ".join(sorted(shown(f.arrival.source.name) for f in same))
            place = display(same[0].arrival.root.path)
            says = f"{place} answers to several sources ({names}); it is left alone."
            do = "Give each source its own label or folder in the config."
            key = f"twice {same[0].arrival.root.identity}"
            self._alarm(look, key, "source-twice", says, do)
            look.found = [f for f in look.found if f not in same]

    def _report_silent(self, look: Look) -> None:
        """A card or drive of ours that is in and does not answer: silence is no good news (P12)."""
        cards = [s.label for s in self.settings.sources if s.label is not None]
        drives = [d.label for d in self.settings.destinations if d.label is not None]
        for silent in self._volumes.silent():
            card = any(matches(label, silent.label) for label in cards)
            if card or any(matches(label, silent.label) for label in drives):
                where = f"{shown(silent.label)} at {display(silent.mount)}"
                says = f"{where} does not answer; what is on it is not known."
                do = "Take it out and put it in again; try another reader and cable."
                key = f"{'mute' if card else MUTE_DRIVE} {where}"
                self._alarm(look, key, "stalled", says, do)

    def _report_twins(self, look: Look) -> None:
        """Two live volumes of one identity (clones) are two loads; a person should know."""
        seen: dict[str, Root] = {}
        for found in look.found:
            root = found.arrival.root
            other = seen.setdefault(root.identity, root)
            if other.volume.device != root.volume.device:
                places = f"{display(other.path)} and {display(root.path)}"
                says = f"{places} carry the same identity; they are kept apart."
                do = "Format one of them anew when it is empty: clones are easily mistaken."
                self._alarm(look, f"twins {root.identity}", "twin-volumes", says, do)

    def moving(self, found: Found) -> frozenset[bytes]:
        """The files that somebody may be writing still; none on a card."""
        if not found.watched:
            return frozenset()
        files, span = self.sighted(found), self.settings.settle_seconds
        return frozenset(f.path for f in files if not settled(f, span, watched=True))

    def sighted(self, found: Found) -> tuple[Sighted, ...]:
        """The files with how long each has stood still, by the steady clock."""
        now = self._clock.steady_ns()
        before = self._still.get(found.place, {})
        after: dict[bytes, tuple[Stamp, int]] = {}
        for path, stamp in found.arrival.files:
            known = before.get(path)
            after[path] = known if known and known[0] == stamp else (stamp, now)
        self._still[found.place] = after
        return tuple(Sighted(path, stamp, now - since) for path, (stamp, since) in after.items())

    # -- destinations

    def _destination(
        self,
        destination: Destination,
        mounted: tuple[Volume, ...],
        sources: list[tuple[Source, Root]],
        look: Look,
    ) -> None:
        name = shown(destination.name)
        root = self._destination_root(destination, mounted, look)
        if isinstance(root, Absent):
            look.absent.append(destination.name)
            self._alarm(look, f"dest {name}", root.code, root.says)
            return
        refused = self._refused(name, root, sources, look)
        if refused is not None:
            look.absent.append(destination.name)
            self._alarm(look, f"dest {name}", *refused)
            return
        try:
            free = self._patience.ask(f"free {root.volume.mount_id}", lambda: self._free(root))
        except TakeholdError as error:
            look.absent.append(destination.name)
            says = f"{name} at {display(root.path)} cannot be used: {error.says}"
            self._alarm(look, f"dest {name}", error.code, says, error.do)
            return
        look.targets.append(Target(destination.name, root, free))

    def _destination_root(
        self, destination: Destination, mounted: tuple[Volume, ...], look: Look
    ) -> Root | Absent:
        if destination.path is not None:
            return self._folder(destination.name, destination.path)
        assert destination.label is not None
        fitting = volumes_for(destination.label, mounted)
        name = shown(destination.name)
        if not fitting:
            return Absent(f"The destination {name} is not connected ({shown(destination.label)}).")
        if len(fitting) > 1:
            places = ", ".join(display(v.mount) for v in fitting)
            says = f"Several volumes answer to {name}: {places}. The first is used."
            do = "Take the others out, or name each drive in the config."
            self._alarm(look, f"several {name}", "several-volumes", says, do)
        return self._volumes.root(fitting[0], destination.folder)

    def _refused(
        self, name: str, root: Root, sources: list[tuple[Source, Root]], look: Look
    ) -> tuple[str, str, str] | None:
        """Code, sentence and advice if nothing may be written there."""
        where = display(root.path)
        cards = [its.volume for source, its in sources if source.label is not None]
        if any(root.volume.device == c.device or root.volume.disks & c.disks for c in cards):
            says = f"{name} at {where} is on a card; nothing is written to a card."
            return "destination-on-card", says, "Give it another label or path in the config."
        source = meets(root, sources)
        if source is not None:
            says = f"{name} at {where} and the source {shown(source.name)} lie within each other."
            return "destination-in-source", says, "Give it a folder outside the source's."
        if root.volume.read_only:
            says = f"{name} at {where} is mounted read-only."
            return "volume-read-only", says, "Check the drive's lock switch; mount it to write."
        if any(t.root.identity == root.identity for t in look.targets):
            says = f"{name} at {where} is the same place as another destination."
            return "destination-twice", says, "Give each destination its own drive or folder."
        return None

    def _free(self, root: Root) -> int:
        with self._disk.destination(root) as tree:
            place = (root.volume.mount_id, root.identity)
            if place not in self._swept:
                tree.sweep()
                self._swept.add(place)
            return tree.free_bytes()

    def _alarm(self, look: Look, key: str, code: str, says: str, do: str = "") -> None:
        now = self._clock.now()
        look.alarms[key] = Trouble(key, code, says, do, now, 1, now)
