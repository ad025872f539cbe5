"""What an amended record says otherwise than the version before, statement by statement, as both were printed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from lexicon import Lexicon
from pipeline.filing.language import Language
from pipeline.filing.record_content import RecordContent, record_content
from pipeline.speech.model import Frozen
from pipeline.store.model import SignedVersion


class Change(Frozen):
    """A statement that one of two versions has and the other has not."""

    part: str
    text: str
    added: bool


class Amendment(Frozen):
    """A version of a record, and how it differs from the one before; nothing for the first."""

    title: str
    reason: str
    first: bool
    changes: tuple[Change, ...] = ()


def amendments_of(
    versions: Sequence[SignedVersion], lexicon: Lexicon, language: Language, zone: tzinfo | None
) -> tuple[Amendment, ...]:
    """Give all versions, the last first, with their changes; nothing where there is but one."""
    if len(versions) < 2:
        return ()
    words = language["record"]
    contents = [record_content(version.record, None, {}, lexicon, language) for version in versions]
    shown = []
    for place, version in enumerate(versions):
        reason = words["amended_why"].format(reason=version.reason) if version.reason else words["was_signed"]
        before = contents[place - 1] if place else None
        shown.append(
            Amendment(
                title=words["amended"].format(
                    version=version.version,
                    when=language.time(version.signed_at.astimezone(zone)),
                    by=version.signed_by,
                ),
                reason=reason,
                first=not place,
                changes=tuple(_changes(before, contents[place], language)) if before is not None else (),
            )
        )
    return tuple(reversed(shown))


def _changes(before: RecordContent, after: RecordContent, language: Language) -> Iterator[Change]:
    old, new = list(_statements(before, language)), list(_statements(after, language))
    for part, text in old:
        if (part, text) not in new:
            yield Change(part=part, text=text, added=False)
    for part, text in new:
        if (part, text) not in old:
            yield Change(part=part, text=text, added=True)


def _statements(content: RecordContent, language: Language) -> Iterator[tuple[str, str]]:
    """All that a version says, as pairs of part and statement."""
    words = language["record"]
    yield words["name"], content.patient_name
    for field in (*content.patient, *content.visit):
        yield field.name or words["of_visit"], field.text
    for value in content.values:
        yield value.name, ", ".join(part for part in (value.text, value.flag, *value.notes) if part)
    for system in content.systems:
        yield system.name, system.state_name
        for stated in system.findings:
            yield system.name, stated.text
        for text in (system.absent, system.reason):
            if text:
                yield system.name, text
    for stated in (*content.told, *content.past):
        yield words["history"], stated.text
    for text in content.assessments:
        yield words["assessment"], text
    for step in content.plan:
        yield words["plan"], ", ".join(part for part in (step.text, step.due or step.state) if part)
