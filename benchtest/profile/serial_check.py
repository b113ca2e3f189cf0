"""Whether the frames and messages of a serial link make sense together: each can be told, found again, and carried."""

from collections.abc import Iterator, Mapping
from itertools import combinations

from benchtest.documents import Review, nearest_or_list
from benchtest.messages import Mark
from benchtest.profile.serial_link import BytesLink, BytesMessage, LengthField, Message, SerialLink, TextLink

KeyPath = tuple[str | int, ...]
LONGEST_WAIT = 0.04
"""Seconds. An order waits while an answer is awaited, and may be 50 ms late in all (`rig.in_use`)."""
SLOWEST_POLL = 0.05
"""Seconds between two questions for the status: what the board reports is looked for in windows of 100 ms."""


def check_serial(link: SerialLink, review: Review) -> None:
    """Report what is wrong with a serial link in itself; broken messages were reported elsewhere."""
    for name, message, keys in _messages(link):
        for signal, number in message.numbers.items():
            if number.scale == 0:
                where = (*keys, "signals", signal, "scale")
                review.say(where, f"a count of signal {signal} stands for nothing", "a scale that is not 0")
        _check_answers(name, message, keys, link, review)
    match link:
        case BytesLink():
            _check_frames(link, review)
            for name, message in link.messages.items():
                _check_bytes(name, message, link, review)
            _check_told_apart(link, review)
        case TextLink():
            _check_text(link, review)
    _check_polled(link, review)


def _messages(link: SerialLink) -> Iterator[tuple[str, Message, KeyPath]]:
    for name, message in link.every_message.items():
        yield name, message, ("link", "messages", name)


# ---------------------------------------------------------------- questions and answers


def _check_answers(name: str, message: Message, keys: KeyPath, link: SerialLink, review: Review) -> None:
    if message.answers is None:
        return
    known = review.names("link", "messages")
    if message.answers not in known:
        hint = nearest_or_list(message.answers, known, what="messages")
        review.say((*keys, "answers"), f"there is no message {message.answers!r}", hint)
    rivals = [other for other, one, _ in _messages(link) if one.answers == message.answers and other < name]
    if rivals:
        text = f"{message.answers} is answered by {rivals[0]} already"
        review.say((*keys, "answers"), text, "a question has one answer")
    if not 0 < message.within <= LONGEST_WAIT:
        text = f"an answer within {message.within:g} s: orders wait for it, and would be too late"
        review.say((*keys, "within"), text, "above 0 s and up to 40 ms")
    ours = {link.controller.message: "the controller's own", link.command: "the command"}
    if name in ours:
        review.say((*keys, "answers"), f"{name} is {ours[name]} message and answers nothing", "delete 'answers'")


def _check_polled(link: SerialLink, review: Review) -> None:
    """What the board says only when it is asked must be asked for by the heartbeat, and often enough."""
    answers = {name: message.answers for name, message, _ in _messages(link) if message.answers is not None}
    asked, every = link.controller.message, link.controller.every
    for name, where in ((link.board.message, "heartbeat"), (link.status, "status")):
        if answers.get(name, asked) != asked:
            text = f"{name} answers {answers[name]}, but the board's {where} must come without an order"
            review.say(("link", "messages", name, "answers"), text, f"let it answer {asked}, or delete 'answers'")
    if link.board.message in answers and not link.board.every.low <= every <= link.board.every.high:
        text = f"{link.board.message} answers {asked}, which is sent every {every:g} s: outside these limits"
        review.say(("link", "board", "every"), text, "give limits around the controller's 'every'")
    if link.status in answers and every > SLOWEST_POLL:
        text = f"the board tells its status only when {asked} asks for it, every {every:g} s"
        review.say(("link", "controller", "every"), text, "at most every 50 ms, or a status that comes by itself")


# ---------------------------------------------------------------- bytes


def _check_frames(link: BytesLink, review: Review) -> None:
    if link.length is None and link.ends_with is None:
        review.say(("link",), "nothing says where a frame ends", "give 'length' or 'ends_with'", key=True)
    elif link.length is not None and link.begins_with is None and link.checksum is None:
        text = "after noise nobody could tell where a frame begins"
        review.say(("link", "length"), text, "give 'begins_with' or 'checksum'")


def _check_bytes(name: str, message: BytesMessage, link: BytesLink, review: Review) -> None:
    keys, needed = ("link", "messages", name), link.needed(message)
    fixed = link.length if isinstance(link.length, int) else None
    if fixed is not None and message.length not in {None, fixed}:
        review.say((*keys, "length"), f"every frame has {fixed} bytes, got {message.length}", "delete this length")
    length = fixed or message.length or needed
    if length < needed:
        review.say(keys, f"{name} needs {needed} bytes, its frame has {length}", "checksum and end count", key=True)
    if length > link.longest:
        review.say(keys, f"{name} has {length} bytes, more than the longest frame", "raise 'longest'", key=True)
    if isinstance(link.length, LengthField):
        stated = length - link.length.adds
        if not 0 <= stated < 256**link.length.bytes:
            text = f"the length of {name} would be given as {stated}, for which there is no room"
            review.say(("link", "length", "adds"), text, "'adds' is the whole frame less the length in it")
    _check_places(name, message, link, review)


def _check_places(name: str, message: BytesMessage, link: BytesLink, review: Review) -> None:
    keys = ("link", "messages", name, "signals")
    fixed = link.taken(message.model_copy(update={"signals": {}}))
    used: dict[int, str] = {}
    for signal, place in message.signals.items():
        resolved = place.resolved()
        if resolved.shift + resolved.bits > 8 * place.bytes:
            text = f"bits {resolved.shift} to {resolved.shift + resolved.bits - 1} of {8 * place.bytes}"
            review.say((*keys, signal), text, "give it more 'bytes', or fewer 'bits'")
        if any(place.at < end and begin < place.at + place.bytes for begin, end in fixed):
            text = f"{signal} stands where the frame begins, has its length or is marked"
            review.say((*keys, signal, "at"), text, "positions count from the first byte of the frame, 0")
        for bit in range(resolved.shift, resolved.shift + resolved.bits):
            byte = bit // 8 if place.low_byte_first else place.bytes - 1 - bit // 8
            taken = used.setdefault(8 * (place.at + byte) + bit % 8, signal)
            if taken != signal:
                review.say((*keys, signal), f"{signal} stands where {taken} stands", "a bit has one meaning")
                break


def _check_told_apart(link: BytesLink, review: Review) -> None:
    layouts = link.resolved().messages
    for one, other in combinations(layouts, 2):
        if one.length == other.length and not _differ(dict(_marked(one.marks)), dict(_marked(other.marks))):
            text = f"{other.name} cannot be told from {one.name}: as long, and no mark differs"
            review.say(("link", "messages", other.name), text, "give both a byte in 'marks'", key=True)


def _marked(marks: tuple[Mark, ...]) -> Iterator[tuple[int, int]]:
    for mark in marks:
        yield from enumerate(bytes.fromhex(mark.reads), mark.at)


def _differ(one: Mapping[int, int], other: Mapping[int, int]) -> bool:
    return any(one[at] != other[at] for at in one.keys() & other.keys())


# ---------------------------------------------------------------- text


def _check_text(link: TextLink, review: Review) -> None:
    told: dict[tuple[str, int], str] = {}
    layouts = {layout.name: layout for layout in link.resolved().messages}
    for name, message in link.messages.items():
        keys, length = ("link", "messages", name), layouts[name].length
        if link.separator in message.word:
            review.say((*keys, "word"), f"{message.word!r} holds the separator", "a word without it")
        taken = told.setdefault((message.word, length), name)
        if taken != name:
            text = f"{name} cannot be told from {taken}: the same word and number of fields"
            review.say((*keys, "word"), text, "another word")
        used: dict[int, str] = {}
        for signal, place in message.signals.items():
            where = (*keys, "signals", signal, "field")
            if place.field >= length:
                review.say(where, f"{name} has {length} fields, from 0 to {length - 1}", "the word is field 0")
            if used.setdefault(place.field, signal) != signal:
                review.say(where, f"{signal} stands where {used[place.field]} stands", "a field has one meaning")
