"""Bring recordings into a lab: the bytes once and whole, and who, what and when beside them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from quintain.domain.recording import Recording as Recorded
from quintain.domain.trace import Trace
from quintain.errors import ConflictError, LabError, MissingError, QuintainError, RecordingError
from quintain.readers.fingerprint import take_fingerprint
from quintain.readers.load_table import read_load_table
from quintain.readers.registry import find_reader, read
from quintain.store.lab import Lab, Writer
from quintain.store.originals import hash_of
from quintain.store.schema import Person, Recording, Rig, Session, Source, StrikeType
from quintain.store.trouble import READ_ONLY
from quintain.tasks.import_plan import Asked, plan_import
from quintain.tasks.lab_names import LabNames
from quintain.tasks.motion_fits import OF_MOTION, RecordedFile, check_channels
from quintain.tasks.progress import Progress, silent
from quintain.tasks.speed_table import speeds_in_words
from quintain.tasks.state_recording import FACTS, check_facts, facts_of, for_audit, state_recording
from quintain.tasks.user_name import user_name

__all__ = ["ImportReport", "ImportedFile", "import_recordings"]


@dataclass(frozen=True, slots=True)
class ImportedFile:
    """
    What became of a file, and what was understood of it.

    ``state`` is 'new', 'known' (the same bytes are in the lab), 'restated' (they are, and it was stated of
    them what was said now) or 'refused'; ``reason`` says why, and for known ones what the lab says otherwise.
    ``duration`` [s], ``rate`` [Hz].
    """

    path: Path
    state: str
    reason: str = ""
    sha256: str = ""
    n_bytes: int = 0
    format: str = ""
    kind: str = ""
    person: str = ""
    type: str = ""
    side: str = ""
    session: str = ""
    rig: str = ""
    trial: int | None = None
    when: datetime | None = None
    duration: float | None = None
    rate: float | None = None
    channel: str = ""
    motion: str = ""
    speeds: str = ""
    offset: str = ""
    sync: str = ""
    track: str = ""
    normal: str = ""

    @property
    def alignment(self) -> dict[str, str]:
        """What was said of how the motion belongs to the force, by name, as it was typed."""
        return {name: getattr(self, name) for name in OF_MOTION if getattr(self, name)}

    @property
    def facts(self) -> dict[str, str]:
        """What was said of it that may be stated later too, by name."""
        return {name: getattr(self, name) for name in FACTS if getattr(self, name)}


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What became of every file; nothing was written if ``dry_run``."""

    files: tuple[ImportedFile, ...]
    dry_run: bool = False

    def of(self, state: str) -> list[ImportedFile]:
        """Files in a state."""
        return [file for file in self.files if file.state == state]


def import_recordings(
    lab: Lab,
    paths: Sequence[str | Path],
    *,
    session: str | None = None,
    rig: str | None = None,
    kind: str = "strikes",
    pattern: str | Sequence[str] | None = None,
    sidecar: str | Path | None = None,
    channel: str | None = None,
    reading: Mapping[str, Any] | None = None,
    motion_reading: Mapping[str, Any] | None = None,
    add_people: bool = False,
    add_types: bool = False,
    add_sessions: bool = False,
    restate: bool = False,
    dry_run: bool = False,
    who: str = "",
    progress: Progress = silent,
    done: Callable[[ImportedFile], None] | None = None,
) -> ImportReport:
    """
    Import recordings; what is in the lab already is left as it is.

    Parameters
    ----------
    lab : Lab
        The lab.
    paths : sequence of path
        Files, and folders that are searched to the bottom.
    session, rig : str, optional
        Of all files that neither name nor table says otherwise.
    kind : str
        The same: 'strikes', 'motion', 'taps', 'drops', 'zero' or 'loads'.
    pattern : str or sequence of str, optional
        What the names of files say, see :class:`~quintain.tasks.file_name_pattern.NamePattern`; of several
        the first that fits. With ``{kind}`` in it, a motion belongs to the strikes whose name says the
        same otherwise.
    sidecar : path, optional
        A table, see :mod:`quintain.tasks.sidecar`; it comes before what names say.
    channel : str, optional
        Channel of the force, where there are several.
    reading, motion_reading : mapping, optional
        What the files do not say themselves, see :func:`quintain.read`; those of motions apart.
    add_people, add_types, add_sessions : bool
        Codes that the lab does not know yet are added; otherwise such a file is refused.
    restate : bool
        What is said of files that the lab has already is stated of them, as by
        :func:`~quintain.tasks.state_recording.state_recording`; otherwise it is compared with what the lab
        says, and nothing is changed.
    dry_run : bool
        Look at everything and write nothing.
    who : str
        In whose name, for the audit; the user of the machine if left out.
    progress : Progress
        Told of bytes.
    done : callable, optional
        Told of each file once it is safe on the disk.

    Returns
    -------
    ImportReport
        Each file is read whole before it is taken; one that cannot be read is refused with the reason
        while the others go on.

    Raises
    ------
    UsageError
        If pattern or table cannot be understood.
    LabError
        If the lab cannot be written to; files that were done stay, and the same call goes on from there.
    """
    if lab.read_only and not dry_run:
        raise LabError(f"{lab.folder}: {READ_ONLY}")
    who = who or user_name()
    asked = plan_import(
        paths, lab=lab.folder, session=session, rig=rig, kind=kind, pattern=pattern, sidecar=sidecar,
        channel=channel,
    )  # fmt: skip
    with lab.reading() as database:
        names = LabNames(database, add_people=add_people, add_types=add_types, add_sessions=add_sessions)
    kept = {
        True: _Settings(lab, dict(motion_reading or {})),
        False: _Settings(lab, dict(reading or {})),
    }
    total = float(sum(entry.n_bytes for entry in asked))
    begun = 0.0
    files: dict[Path, ImportedFile] = {}
    for entry in sorted(asked, key=lambda entry: entry.kind != "motion"):
        progress("import", begun, total)
        entry = names.settle(entry)
        try:
            files[entry.path] = _import_one(
                lab, entry, kept, files, who=who, restate=restate, dry_run=dry_run
            )
        except LabError as problem:
            safe = sum(file.state == "new" for file in files.values())
            raise LabError(
                f"{problem}. Before that {safe} of {len(asked)} files were imported; repeat it to go on"
            ) from problem
        begun += entry.n_bytes
        if done is not None:
            done(files[entry.path])
    progress("import", total, total)
    return ImportReport(tuple(files[entry.path] for entry in asked), dry_run)


class _Settings:
    """Settings of a reader; a file among them is stored with the first recording that needs it."""

    def __init__(self, lab: Lab, given: dict[str, Any]) -> None:
        self.given = given
        self._lab = lab
        self._kept: dict[str, Any] | None = None

    def keep(self) -> dict[str, Any]:
        if self._kept is None:
            self._kept = self._lab.originals.keep_settings(self.given)
        return self._kept


def _import_one(
    lab: Lab,
    entry: Asked,
    kept: Mapping[bool, _Settings],
    earlier: Mapping[Path, ImportedFile],
    *,
    who: str,
    restate: bool,
    dry_run: bool,
) -> ImportedFile:
    file = ImportedFile(
        path=entry.path, state="new", n_bytes=entry.n_bytes, kind=entry.kind, person=entry.person,
        type=entry.type, side=entry.side, session=entry.session, rig=entry.rig, trial=entry.trial,
        when=entry.when, channel=entry.channel, speeds=entry.speeds, offset=entry.offset, sync=entry.sync,
        track=entry.track, normal=entry.normal,
    )  # fmt: skip
    settings = kept[entry.kind == "motion"]
    if entry.problem:
        return replace(file, state="refused", reason=entry.problem)
    if entry.motion is not None:
        motion = earlier.get(entry.motion)
        if motion is None or motion.state == "refused":
            why = "it is not among the files" if motion is None else motion.reason
            return replace(file, state="refused", reason=f"its motion {entry.motion.name} was refused: {why}")
        file = replace(file, motion=motion.sha256)
    motion_file = None
    if entry.motion is not None:
        motion_file = RecordedFile(entry.motion, entry.motion.name, kept[True].given)
    try:
        found = take_fingerprint(entry.path)
        sha256 = _known(lab, entry.path, found.n_bytes)
        if sha256:
            file = replace(file, sha256=sha256)
            return _again(lab, file, motion_file, who=who, restate=restate, dry_run=dry_run)
        if motion_file is not None:  # now that somebody can still mend it
            force = RecordedFile(entry.path, entry.path.name, settings.given)
            check_channels(force, motion_file, file.alignment)
        look = _open(file, settings.given)
        if dry_run:
            file = look.through()
            found.check_unchanged()
            file = replace(file, sha256=hash_of(entry.path))
            same = [e for e in earlier.values() if e.sha256 == file.sha256 and e.state == "new"]
            return replace(file, state="known", reason=f"the same as {same[0].path}") if same else file
        sha256, _ = lab.originals.put(entry.path, look.parts, meanwhile=look.through)
        found.check_unchanged()
    except OSError as problem:
        return replace(file, state="refused", reason=f"{entry.path}: {problem.strerror}")
    except LabError as problem:
        if isinstance(problem, MissingError | ConflictError):
            return replace(file, state="refused", reason=str(problem))
        raise
    except QuintainError as problem:
        return replace(file, state="refused", reason=str(problem))
    file = replace(look.seen, sha256=sha256)
    reading = settings.keep()
    try:
        with lab.writing(who) as writer:
            return _enter(writer, file, reading)
    except ConflictError as problem:
        return replace(file, state="refused", reason=str(problem))


def _known(lab: Lab, path: Path, n_bytes: int) -> str:
    """Hash of a file whose bytes are in the lab; only one of the size of another needs to be hashed."""
    with lab.reading() as database:
        there = select(Recording.sha256).where(Recording.n_bytes == n_bytes, Recording.gone.is_(None))
        hashes = set(database.scalars(there))
    sha256 = hash_of(path) if hashes else ""
    return sha256 if sha256 in hashes and lab.originals.find(sha256) is not None else ""


class _Look:
    """A file that could be opened: what it is, the files that belong to it, and how to read it to its end."""

    def __init__(
        self, file: ImportedFile, recording: Recorded | None = None, parts: Sequence[Path] = ()
    ) -> None:
        self.seen = file
        self.parts = parts
        self._recording = recording

    def through(self) -> ImportedFile:
        """Read the samples, as every later analysis will, and say how long they last."""
        if self._recording is None:
            return self.seen
        trace = _trace(self._recording, self.seen)
        begin, end = math.inf, -math.inf
        try:
            for block in trace.blocks():
                begin = min(begin, block.start)
                end = max(end, block.start + block.samples.size / trace.rate)
        except OSError as problem:
            raise RecordingError(f"{self.seen.path}: {problem.strerror}") from None
        if not end > begin:
            raise RecordingError(
                f"{self.seen.path}: channel {trace.name!r} holds no samples; export it again"
            )
        self.seen = replace(self.seen, duration=end - begin, rate=trace.rate)
        return self.seen


def _open(file: ImportedFile, settings: Mapping[str, Any]) -> _Look:
    if file.kind == "loads":
        read_load_table(file.path)
        return _Look(replace(file, format="load table"))
    recording = read(file.path, **settings)
    _trace(recording, file)
    when = file.when
    if when is None and recording.started is not None:
        # A clock without an offset is that of this machine, as it is the lab's.
        when = recording.started.astimezone() if recording.started.tzinfo is None else recording.started
    parts = find_reader(file.path, recording.reader).parts
    return _Look(
        replace(file, format=recording.reader, when=when), recording, parts(file.path) if parts else ()
    )


def _trace(recording: Recorded, file: ImportedFile) -> Trace:
    """The channel that the file is about."""
    if file.channel or file.kind in ("strikes", "drops"):
        return recording.trace(file.channel or None)
    if recording.traces:
        return recording.traces[0]
    raise RecordingError(f"{file.path}: there is no channel in it; export the recording again")


def _again(
    lab: Lab,
    file: ImportedFile,
    motion: RecordedFile | None,
    *,
    who: str,
    restate: bool,
    dry_run: bool,
) -> ImportedFile:
    """A file whose bytes the lab has: where it came from, and what the lab says of it otherwise."""
    if not dry_run:
        with lab.writing(who) as writer:
            _add_source(writer, file)
            if restate:
                _person(writer, file.person)
                _type(writer, file.type)
                _session(writer, file.session)
    with lab.reading() as database:
        row = database.get_one(Recording, file.sha256)
        there: dict[str, Any] = facts_of(database, row)
    others = {name: text for name, text in file.facts.items() if text != there[name]}
    words = f"the same bytes came in as {row.name} on {row.imported:%Y-%m-%d}"
    state = "known"
    if restate and others:
        if dry_run:
            # who and what may be added by this import, and were looked at with their names
            unknown = ("person", "type", "session")
            told = {name: text for name, text in others.items() if name not in unknown}
            if told:
                check_facts(lab, file.sha256, told, motion=motion if "motion" in told else None)
        else:
            there |= state_recording(lab, file.sha256, others, who=who).facts
        state = "restated"
        words += f"; stated now: {', '.join(others)}"
    differ = {name: (there[name], text) for name, text in others.items() if state == "known"}
    if file.kind != row.kind:
        differ = {"kind": (row.kind, file.kind), **differ}
    if differ:
        said = (f"{name} {_words(was)}, not {_words(text)}" for name, (was, text) in differ.items())
        words += f"; there it says {', '.join(said)}. Nothing was changed"
        if state == "known" and others:
            words += f"; to state it: --restate, or quintain state {file.sha256[:12]}"
    return replace(
        file, state=state, reason=words, format=row.format, kind=row.kind, trial=row.trial, when=row.when,
        duration=row.duration, rate=row.rate, **there,
    )  # fmt: skip


def _words(text: str) -> str:
    return repr(speeds_in_words(text) or "not stated")


def _enter(writer: Writer, file: ImportedFile, reading: dict[str, Any]) -> ImportedFile:
    """Add the row of a recording, and those it needs."""
    database = writer.database
    row = database.get(Recording, file.sha256)
    if row is not None:
        if row.gone is None:  # another process was faster
            _add_source(writer, file)
            return replace(file, state="known", reason="it came in by another process at the same time")
        before = {"gone": row.gone.isoformat()}
        row.gone = None
        writer.note("restore recording", "recording", file.sha256, before=before)
        _add_source(writer, file)
        return replace(file, reason="its bytes had been lost; what the lab says of it was left as it is")
    session = _session(writer, file.session)
    rig_id = database.scalar(select(Rig.id).where(Rig.name == file.rig)) if file.rig else None
    if rig_id is None and session is not None:
        rig_id = session.rig_id
    database.add(
        Recording(
            sha256=file.sha256,
            name=_text(file.path.name),
            n_bytes=file.n_bytes,
            kind=file.kind,
            format=file.format,
            when=file.when,
            duration=file.duration,
            rate=file.rate,
            reading=reading,
            channel=file.channel,
            session_id=session.id if session else None,
            rig_id=rig_id,
            person_id=_person(writer, file.person),
            type=_type(writer, file.type),
            side=file.side,
            trial=file.trial,
            motion_sha256=file.motion or None,
            speeds=file.speeds,
            alignment=file.alignment,
        )
    )
    database.flush()
    _add_source(writer, file)
    writer.note(
        "import",
        "recording",
        file.sha256,
        after={"name": _text(file.path.name), "kind": file.kind, **for_audit(file.facts)},
    )
    return file


def _add_source(writer: Writer, file: ImportedFile) -> None:
    path = _text(str(file.path.absolute()))
    there = select(func.count()).where(Source.recording_sha256 == file.sha256, Source.path == path)
    if not writer.database.scalar(there):
        writer.database.add(Source(recording_sha256=file.sha256, path=path, who=writer.who))


def _person(writer: Writer, code: str) -> int | None:
    if not code:
        return None
    person = writer.database.scalar(select(Person).where(Person.code == code))
    if person is None:
        person = Person(code=code)
        writer.database.add(person)
        writer.database.flush()
        writer.note("add person", "person", person.id, after={"code": code})
    return person.id


def _type(writer: Writer, name: str) -> str | None:
    if not name:
        return None
    if writer.database.get(StrikeType, name) is None:
        writer.database.add(StrikeType(name=name))
        writer.database.flush()
        writer.note("add strike type", "strike_type", name)
    return name


def _session(writer: Writer, code: str) -> Session | None:
    if not code:
        return None
    session = writer.database.scalar(select(Session).where(Session.code == code))
    if session is None:
        session = Session(code=code)
        writer.database.add(session)
        writer.database.flush()
        writer.note("add session", "session", session.id, after={"code": code})
    return session


def _text(path: str) -> str:
    """A name as it can be stored and shown; some disks hold names that are no text."""
    return path.encode("utf-8", "backslashreplace").decode("utf-8")
