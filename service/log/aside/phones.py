"""The phones that took the photos: by make and model as their EXIF says, by the name that their user gave them."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, func, insert, select, update

from service.errors import NotFound, WrongStatement
from service.log.chain.locks import one_writer
from service.log.models import now, phones, photo_phones, photos
from service.log.search_words.rows import keep_phone_of
from stripread.words import N_, say

UNKNOWN = N_("unknown phone")  # nothing in the photo's EXIF, or nobody has looked yet
LONGEST_NAME = 60
Camera = tuple[str, str]  # make and model, as a photo's EXIF has them; ("", "") where it has none


@dataclass(frozen=True)
class Phone:
    """One phone of the log, and how many of its photos are there."""

    id: int
    make: str
    model: str
    name: str | None
    photos: int

    @property
    def label(self) -> str:
        """How it is called beside readings."""
        return label(self.make, self.model, self.name)


def label(make: str | None, model: str | None, name: str | None) -> str:
    """The user's name, else make and model (the make once, where the model begins with it), else "unknown phone"."""
    if name:
        return name
    make, model = make or "", model or ""
    words = model if model.casefold().startswith(make.casefold()) else f"{make} {model}"
    return words.strip() or say(UNKNOWN)


def all_phones(c: Connection) -> list[Phone]:
    """Every phone whose photos are in the log, those with most photos first."""
    counted = func.count(photo_phones.c.photo_sha256)
    query = (
        select(phones, counted.label("photos"))
        .outerjoin(photo_phones, photo_phones.c.phone_id == phones.c.id)
        .group_by(phones.c.id)
        .order_by(counted.desc(), phones.c.id)
    )
    return [Phone(row.id, row.make, row.model, row.name, row.photos) for row in c.execute(query)]


def unknown_photos(c: Connection) -> int:
    """How many photos of the log no phone is known of."""
    known = select(func.count()).where(photo_phones.c.phone_id.is_not(None))
    return int(c.execute(select(func.count()).select_from(photos)).scalar_one() - c.execute(known).scalar_one())


def name_phone(c: Connection, number: int, name: str) -> Phone:
    """Call a phone by this name from now on, also with its earlier readings; an empty one takes the name away.

    Raises
    ------
    NotFound
        If there is no such phone.
    WrongStatement
        If the name is too long, has characters that can't be printed, or another phone has it.
    """
    words = " ".join(name.split())
    if len(words) > LONGEST_NAME or not words.isprintable():
        raise WrongStatement("bad_name", f"A phone's name has at most {LONGEST_NAME} characters that can be printed.")
    there = {phone.id: phone for phone in all_phones(c)}
    if number not in there:
        raise NotFound("no_such_phone", f"There is no phone {number}. Its number is that of the list of phones.")
    alike = [p for p in there.values() if p.id != number and p.label.casefold() == words.casefold()]
    for other in alike:
        raise WrongStatement("name_taken", f"Phone {other.id} is called {other.label} already. Choose another name.")
    c.execute(update(phones).where(phones.c.id == number).values(name=words or None, named_at=now()))
    old = there[number]
    return Phone(old.id, old.make, old.model, words or None, old.photos)


def keep_phone(c: Connection, sha256: str, camera: Camera) -> None:
    """Write down which phone took a photo of the log, unless that is known."""
    one_writer(c)  # before looking: another's entry of this photo may just be added
    if c.execute(select(photo_phones.c.photo_sha256).where(photo_phones.c.photo_sha256 == sha256)).first():
        return
    number = None
    if any(camera):
        make, model = camera
        same = select(phones.c.id).where(phones.c.make == make, phones.c.model == model)
        number = c.execute(same).scalar()
        if number is None:
            number = c.execute(insert(phones).values(make=make, model=model).returning(phones.c.id)).scalar_one()
    c.execute(insert(photo_phones).values(photo_sha256=sha256, phone_id=number))
    if number is not None:
        keep_phone_of(c, sha256, number)


def photos_to_look_at(c: Connection, most: int = 50) -> list[str]:
    """Photos, by SHA-256, whose EXIF nobody has looked at: those of a log from before there were phones."""
    query = (
        select(photos.c.sha256)
        .outerjoin(photo_phones, photo_phones.c.photo_sha256 == photos.c.sha256)
        .where(photo_phones.c.photo_sha256.is_(None))
        .order_by(photos.c.sha256)
        .limit(most)
    )
    return list(c.execute(query).scalars())
