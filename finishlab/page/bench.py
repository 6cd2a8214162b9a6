"""The bench of a logbook: photos that came and are not logged yet, and what workers make of each photo.

A photo is known by its content (the first digits of its SHA-256), from here to the record it is logged in. So a photo
that is sent twice waits once, and what it was logged as can be looked up whatever became of the answer. A photo is
written beside its place and renamed when it is whole: a server that is killed leaves nothing half there. What waits is
cleared by age.

What is made of a photo is made in a worker: what it shows at first sight (`glance`; the way is that of the commands,
nothing is judged here), and pictures. What a command will ask for when the photo is logged as what it looks like, and
the picture of what was found, are made after the answer went back (`finish`): so the answer takes no longer than the
measuring, and logging does not measure again. A picture is nothing of the file but pixels, and its photo is found
through the logbook alone: no text that came over the network is ever part of a path.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import threading
import time
import uuid
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final, Literal

from finishlab.errors import FinishlabError, LogbookError, NoStripError, PhotoError, QualityError, internal_error
from finishlab.files import PHOTO_FOLDER
from finishlab.logbook.database import failures_named
from finishlab.page.workers import Kept, Workers
from finishlab.record import harmless

if TYPE_CHECKING:
    from finishlab.imaging.finder import StripFit
    from finishlab.imaging.pixels import LinearImage
    from finishlab.measure.flow import Inspection
    from finishlab.measure.results import Measurement
    from finishlab.measuring import MeasureOptions
    from finishlab.measuring.logged import FloorSeen
    from finishlab.quality import Doubt

KindName = Literal["strip", "floor", "board", "pair", "tread"]
"""What a photo can be of: the strip from afar, a place of the floor, a board, a board beside the floor, a tread."""
MOST_BYTES: Final = 100_000_000
"""Of one photo: one of 100 megapixels as a phone packs it takes half of that."""
PHOTO_ID: Final = re.compile(r"[0-9a-f]{16}")
"""What a photo is called in an address."""
_KEPT_SECONDS: Final = 24 * 3600.0
_KEPT_BYTES: Final = 3_000_000_000
"""Of all photos that wait; the oldest go first."""
_CHUNK: Final = 1 << 18
_SUFFIXES: Final = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp", "HEIC": ".heic", "RAW": ".raw"}
_LONGEST_NAME: Final = 80
_GLANCES: Final = 200
"""Answers kept in memory; of other photos they are made anew."""
SIZES: Final = {"small": (480, 80), "large": (1600, 88)}
"""Name of a size -> pixels of the long side, and quality of the JPEG."""
_PICTURES: Final = Kept[bytes](24_000_000, len)
"""Pictures in memory: about 600 small ones."""
_ONE: Final = threading.Lock()
"""Pictures take one worker at most, so that a photo that was just taken need not wait for those logged long ago."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the logbook knows that a photo is looked at with."""

    asked: Mapping[KindName, MeasureOptions]
    """Kind -> how the command for it measures, with what is known of strips and cameras; none for the strip itself."""
    seen: FloorSeen
    alone: KindName = "board"
    """What a surface without the floor is rather: a board, or a tread."""
    floor_next: bool = True
    """Whether a photo with one surface all around is rather of the floor."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What was found."""

    kind: KindName | None = None
    """What it most likely is; None where nothing says it."""
    strip: int | None = None
    """The strip's number."""
    tilt_deg: float | None = None
    """How far off straight above the camera was; None where no strip was found."""
    measurement: Measurement | None = None
    error: FinishlabError | None = None
    """Why it gives no figure."""
    doubts: tuple[Doubt, ...] = ()
    pictured: bool = False
    """Whether there is something to draw."""

    @property
    def found(self) -> bool:
        """Whether the strip was found."""
        return self.tilt_deg is not None


@dataclass(frozen=True, slots=True)
class Waiting:
    """A photo that waits to be logged."""

    path: Path
    """Named by its content."""
    name: str
    """As the phone called it, for people to read."""

    @property
    def photo(self) -> str:
        """What it is called in an address, the photo's id in the logbook."""
        return self.path.name[:16]

    @property
    def picture(self) -> Path:
        """Where the picture of what was found in it lies."""
        return self.path.with_suffix(".seen")

    def named(self, text: str) -> str:
        """Return a sentence about the file with the name people know."""
        return text.replace(str(self.path), self.name).replace(self.path.name, self.name)

    def named_error(self, error: FinishlabError) -> FinishlabError:
        """Return a failure with the name people know."""
        return type(error)(error.code, self.named(error.message), self.named(error.hint))


@dataclass(frozen=True, slots=True)
class _Look:
    """A photo that is being looked at."""

    key: str
    """What it is looked at with."""
    found: Future[Glance] = field(default_factory=Future)
    done: Future[None] = field(default_factory=Future)
    """Done when there is a picture, or when there will be none; then the workers know what a command will ask for."""


class Bench:
    """The photos that wait in one logbook, and who looks at them.

    Parameters
    ----------
    folder
        The logbook's.
    workers
        Who looks at them.
    """

    def __init__(self, folder: Path, workers: Workers) -> None:
        self.folder = folder
        self.place = folder / PHOTO_FOLDER / ".waiting"
        self.workers = workers
        self.logging = threading.Lock()
        """Held while photos are logged, so that a form sent twice finds what the first one did."""
        self._glances: OrderedDict[str, _Look] = OrderedDict()
        self._lock = threading.Lock()
        self.clear()

    def take(self, name: str, file: BinaryIO) -> Waiting:
        """Keep a photo that comes, as long as it is one and not too large.

        Raises
        ------
        PhotoError
            ``"photo-empty"``, ``"not-a-photo"``, ``"photo-format"`` or ``"photo-too-large"``.
        LogbookError
            If the folder cannot be written.
        """
        name = harmless(" ".join(name.split()))[-_LONGEST_NAME:] or "photo"
        with failures_named(str(self.folder)):
            self.place.mkdir(parents=True, exist_ok=True)
            self.clear()
            part = self.place / f"{os.getpid()}.{uuid.uuid4().hex}.part"
            try:
                sha256, kind = _copied(name, file, part)
                path = self.place / f"{sha256}{_SUFFIXES[kind]}"
                path.with_suffix(".json").write_text(json.dumps({"name": name}), encoding="utf-8")
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)
        photo = Waiting(path, name)
        if not photo.picture.is_file():
            self._forget(photo)
        return photo

    def find(self, photo: str) -> Waiting | None:
        """Return the photo with this id; None where none waits, or none any more."""
        if not PHOTO_ID.fullmatch(photo):
            return None
        for path in self.place.glob(f"{photo}*"):
            if path.suffix in _SUFFIXES.values():
                return Waiting(path, self._name(path))
        return None

    def _name(self, path: Path) -> str:
        try:
            return str(json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["name"])
        except (OSError, ValueError, LookupError, TypeError):
            return path.name

    def begin(self, photo: Waiting, known: Known) -> _Look:
        """Begin to look at a photo, unless it was or is being looked at with the same knowledge of strip and camera."""
        key = repr(known.asked)
        with self._lock:
            before = self._glances.get(photo.photo)
            if before is not None and before.key == key:
                return before
            look = self._glances[photo.photo] = _Look(key)
            while len(self._glances) > _GLANCES:
                self._glances.popitem(last=False)
        threading.Thread(target=self._look, args=(photo, known, look), daemon=True).start()
        return look

    def glance(self, photo: Waiting, known: Known) -> Glance:
        """Return what a photo shows; whatever is wrong is in it."""
        return self.begin(photo, known).found.result()

    def settle(self, photo: Waiting) -> None:
        """Wait until nothing more is being done with a photo."""
        with self._lock:
            look = self._glances.get(photo.photo)
        if look is not None:
            look.done.result()

    def picture(self, photo: Waiting) -> bytes | None:
        """Return the picture of what was found in a photo, a JPEG, once it is drawn; None where there is none."""
        self.settle(photo)
        try:
            return photo.picture.read_bytes()
        except OSError:
            return None

    def small_copy(self, photo: str, size: str) -> bytes:
        """Return a photo of the logbook, named by its hash, as a JPEG of one of `SIZES`.

        Raises
        ------
        FinishlabError
            If its file cannot be read, or costs more than a photo may.
        """
        return self._drawn((photo, size), _small, photo, *SIZES[size])

    def beside_floor(self, number: str, light: str, floor: tuple[float, ...], state: int) -> bytes:
        """Return a board above the floor, cut from its photo at one scale and corrected, as the report shows it.

        Parameters
        ----------
        number
            The board's.
        light
            Whose photos are used.
        floor
            Mean CIELAB of the floor.
        state
            Of the logbook; what is learned of a strip changes the picture.

        Raises
        ------
        LogbookError
            ``"no-picture"`` if its photo gives none.
        """
        return self._drawn((number, light, state), _beside, number, light, floor)

    def _drawn(self, key: tuple[object, ...], work: Callable[..., bytes], *args: object) -> bytes:
        """Return a picture, made where a photo can do no harm."""

        def make() -> bytes:
            with _ONE:
                return self.workers.do(work, self.folder, *args)

        return _PICTURES.get((self.folder, *key), make)

    def _look(self, photo: Waiting, known: Known, look: _Look) -> None:
        try:
            found = self.workers.run(glance, photo.path, known)
        except FinishlabError as error:
            found = Glance(error=error)
            if error.code == "photos-waiting":
                self._forget(photo)
        except Exception as error:  # noqa: BLE001 - whoever waits for the answer must get one
            found = Glance(error=internal_error(error, photo.name))
        look.found.set_result(found)
        try:
            if found.pictured:
                for work, args, made in self.workers.do(finish, photo.path, known, photo.picture):
                    self.workers.know(made, work, *args)
        except Exception:  # noqa: BLE001 - the answer stands without its picture
            photo.picture.unlink(missing_ok=True)
        finally:
            look.done.set_result(None)

    def _forget(self, photo: Waiting) -> None:
        """Have a photo looked at anew when it is asked for again."""
        with self._lock:
            self._glances.pop(photo.photo, None)

    def drop(self, photo: Waiting) -> None:
        """Clear a photo away."""
        self._forget(photo)
        for path in (photo.path, photo.picture, photo.path.with_suffix(".json")):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)

    def clear(self) -> None:
        """Clear away what is a day old, what killed servers left, and the oldest of too many photos."""
        left = _KEPT_BYTES
        for age, size, path in sorted(_ages(self.place)):  # the youngest first
            left -= size
            if age > _KEPT_SECONDS or left < 0 or (path.suffix == ".part" and not _is_written(path)):
                with contextlib.suppress(OSError):
                    path.unlink()


def _ages(place: Path) -> Iterator[tuple[float, int, Path]]:
    """Yield each file that waits with its age in seconds and its size in bytes."""
    with contextlib.suppress(OSError):
        for path in place.iterdir():
            with contextlib.suppress(OSError):  # another server cleared it
                about = path.stat()
                yield time.time() - about.st_mtime, about.st_size, path


def _is_written(part: Path) -> bool:
    """Say whether the server that began a file may still be writing it."""
    owner = part.name.split(".")[0]
    if os.name != "posix" or not owner.isdecimal():
        return True  # its age tells
    try:
        os.kill(int(owner), 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _copied(name: str, file: BinaryIO, part: Path) -> tuple[str, str]:
    """Copy a photo; return its SHA-256 and its kind."""
    from finishlab.photos.files import HEAD_BYTES, photo_kind

    first = file.read(_CHUNK)
    kind = photo_kind(name, first[:HEAD_BYTES])
    digest, size = hashlib.sha256(), 0
    with part.open("xb") as writer:
        chunk = first
        while chunk:
            size += len(chunk)
            if size > MOST_BYTES:
                raise PhotoError(
                    "photo-too-large",
                    f"{name} is larger than {MOST_BYTES / 1e6:.0f} MB.",
                    "Send the photo as the phone saved it, not a raw file or a video.",
                )
            digest.update(chunk)
            writer.write(chunk)
            chunk = file.read(_CHUNK)
    return digest.hexdigest(), kind


_BENCHES: Final[dict[Path, Bench]] = {}
_OPENING: Final = threading.Lock()


def bench_of(folder: Path) -> Bench:
    """Return the bench of a logbook, set up when it is first asked for: a worker is started then."""
    with _OPENING:
        if folder not in _BENCHES:
            workers = next((each.workers for each in _BENCHES.values()), None) or Workers()
            _BENCHES[folder] = Bench(folder, workers)
            threading.Thread(target=_warm, args=(workers,), daemon=True).start()
        return _BENCHES[folder]


def _warm(workers: Workers) -> None:
    with contextlib.suppress(FinishlabError):
        workers.warm()


def end() -> None:
    """End all workers: the page is being ended."""
    with _OPENING:
        for bench in _BENCHES.values():
            bench.workers.close()
        _BENCHES.clear()


# -- In a worker: what a photo shows ----------------------------------------------------------------------------------

_AFAR: Final = 0.32
"""Share of the photo's long side below which the strip is seen from afar: it takes half of it to measure beside, and a
tenth to a quarter to learn its print from."""
_ALIKE: Final = 2.0
"""dE00 below which both sides of the strip may well be one surface. This tool's own: both sides of one rendered floor
differ by 0 to 1.3; a proposal only."""
_PICTURE: Final = 1200
"""Pixels of the picture's long side: a phone's screen has no more."""
_QUALITY: Final = 80
_PAIR_ONLY: Final = "grain-directions-differ"
"""Code of the doubt that is about board and floor together."""
Made = tuple[tuple[Any, tuple[Any, ...], Any], ...]
"""Work, its arguments, and what came of it: as a command asks for it."""
_HELD: Final[dict[Path, Callable[[], tuple[Any, Made]]]] = {}
"""Of the photo that was looked at last in this process: what gives its picture and what a command will ask for."""


def glance(path: Path, known: Known) -> Glance:
    """Look at one photo.

    Parameters
    ----------
    path
        The photo.
    known
        What the logbook knows.

    Returns
    -------
    Glance
        What is wrong with the photo is in it.
    """
    from finishlab.measuring import found_strip
    from finishlab.measuring.shown import picture_of_refused

    _HELD.clear()
    try:
        image, fit = found_strip(path)
    except NoStripError as error:
        return _from_afar(path, error)
    except FinishlabError as error:
        return Glance(error=error)
    if _share(image, fit) < _AFAR:
        return _from_afar(path, None)
    try:
        found = _inspected(image, fit, known)
    except QualityError as error:
        _HELD[path] = lambda: (picture_of_refused(image, fit, ("board", "floor"), long_side=_PICTURE)[0], ())
        return Glance(None, fit.number, fit.tilt_deg, error=error, pictured=True)
    kind = _kind_of(found.measurement, known)
    _HELD[path] = lambda: _as_asked(path, image, fit, known.asked[kind], found)
    whole = found.measurement
    fields = {name: field for name, field in whole.fields.items() if name in known.asked[kind].fields}
    result = replace(whole, fields=fields, pair=whole.pair if kind == "pair" else None)
    doubts = {each.code: each for field in fields.values() for each in field.doubts}
    if kind != "pair":
        doubts.pop(_PAIR_ONLY, None)
    return Glance(kind, fit.number, fit.tilt_deg, result, None, tuple(doubts.values()), pictured=True)


def _share(image: LinearImage, fit: StripFit) -> float:
    """Return how much of the photo's long side the strip takes."""
    from finishlab.imaging.strip import STRIP

    return fit.px_per_mm * STRIP.width / max(image.size)


def _inspected(image: LinearImage, fit: StripFit, known: Known) -> Inspection:
    """Measure both sides of the strip, or that which allows it.

    Raises
    ------
    QualityError
        Why neither does.
    """
    first: QualityError | None = None
    for kind in ("pair", known.alone, "floor"):
        try:
            return _measured(image, fit, known.asked[kind])
        except QualityError as error:
            first = first or error
    raise first or AssertionError


def _measured(image: LinearImage, fit: StripFit, options: MeasureOptions) -> Inspection:
    from finishlab.measure.flow import measure
    from finishlab.measuring import profile_of

    greys = {each.number: each for each in options.strip_greys}
    return measure(image, options.fields, options.floor_is, fit, greys.get, profile_of(image, options.profiles))


def _kind_of(found: Measurement, known: Known) -> KindName:
    """Return what a photo most likely shows, by what lies at the two sides of the strip."""
    if "floor" not in found.fields:
        return known.alone
    if "board" not in found.fields:
        return "floor"
    floor_there = known.seen.strange(found.fields["floor"]) is None
    alike = found.pair is not None and found.pair.value < _ALIKE
    if alike and (known.floor_next or not floor_there):
        return "floor"
    return "pair" if floor_there else known.alone


def _as_asked(
    path: Path, image: LinearImage, fit: StripFit, options: MeasureOptions, found: Inspection
) -> tuple[Any, Made]:
    """Return the picture of a photo measured as a command for its kind measures it, and what answers that command."""
    from finishlab.measuring import PhotoResult, measure_one
    from finishlab.measuring.shown import picture_of

    made: Made = ()
    with contextlib.suppress(QualityError):  # then the command says so itself
        if tuple(found.views) != options.fields:
            found = _measured(image, fit, options)
        made = ((measure_one, ((path, None, options, None),), PhotoResult(str(path), found.measurement)),)
    return picture_of(found, image, long_side=_PICTURE), made


def _from_afar(path: Path, none: NoStripError | None) -> Glance:
    """Look at a photo of the strip from a few steps back; where there is no strip either, `none` says so."""
    from finishlab.imaging.finder import find_strip
    from finishlab.imaging.opencv import shrink
    from finishlab.imaging.overlay import check_picture
    from finishlab.measure.learn_print import look_at_print
    from finishlab.measuring import print_in
    from finishlab.photos import read_photo, srgb_pixels

    image = read_photo(path)
    try:
        fit = find_strip(image, small=True)
    except NoStripError as error:
        small = replace(image, encoded=shrink(image.encoded, max(1.0, max(image.size) / _PICTURE)))
        _HELD[path] = lambda: (srgb_pixels(small), ())
        return Glance(error=none or error, pictured=True)
    made: Made = ()
    _HELD[path] = lambda: (check_picture(image, fit, {}, long_side=_PICTURE), made)
    try:
        look = look_at_print(image)
    except FinishlabError as error:
        return Glance("strip", fit.number, fit.tilt_deg, error=error, pictured=True)
    made = ((print_in, (path,), look),)
    return Glance("strip", look.number, fit.tilt_deg, doubts=look.doubts, pictured=True)


def finish(path: Path, known: Known, picture: Path) -> Made:
    """Write the picture of a photo, a JPEG with what was found in it drawn in; return what a command will ask for.

    The picture has nothing of the photo's file but the pixels, and is whole or not there. Arguments are as of `glance`.
    """
    from finishlab.photos import write_jpeg

    if path not in _HELD:  # another process looked at it, or at another photo since
        glance(path, known)
    pixels, made = _HELD.pop(path)()
    part = picture.with_suffix(".part")
    part.write_bytes(write_jpeg(pixels, quality=_QUALITY))
    part.replace(picture)
    return made


# -- In a worker: pictures of what is logged --------------------------------------------------------------------------


def _small(folder: Path, photo: str, side: int, quality: int) -> bytes:
    from finishlab.logbook.store import Logbook
    from finishlab.photos import thumbnail

    with Logbook.open(folder) as log:
        return thumbnail(log.photo_path(photo), side, quality=quality)


def _beside(folder: Path, number: str, light: str, floor: tuple[float, ...]) -> bytes:
    from finishlab.logbook.store import Logbook
    from finishlab.report.pictures import crops_of

    with Logbook.open(folder) as log:
        found = crops_of(log, [log.board(number)], light, floor)
    if number not in found:
        raise no_picture(number)
    return found[number].jpeg


def no_picture(number: str) -> LogbookError:
    """Return that there is no picture of a thing."""
    return LogbookError("no-picture", f"There is no such picture of {number}.", "Open its page.")
