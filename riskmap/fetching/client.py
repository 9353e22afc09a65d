"""One polite client for all services: paced, patient, resumable, and every reply kept.

A reply is kept under a key of its request, with its SHA-256. What is kept and still whole is not
asked for again, so a run that was stopped goes on where it stopped. A long download that breaks off
goes on at the byte where it broke (RFC 9110, range requests). ``Retry-After`` is obeyed.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode, urlsplit

import requests

from data_pipelines.files import LARGEST_BYTES, refuse_disguise
from riskmap.contract.errors import FetchError, LayerError, OutputError, reason

DELAY_S: Final = 1.0
"""Least time between two requests to one host."""
TIMEOUTS_S: Final = (15.0, 120.0)
"""To connect, and between two pieces of a reply."""
TRIES: Final = 5
FIRST_WAIT_S: Final = 2.0
MOST_WAIT_S: Final = 120.0
AGAIN: Final = (408, 425, 429, 500, 502, 503, 504)
"""Answers that say: later (RFC 9110)."""
LATER: Final = "Run the command again later: what is here is kept."
_PIECE: Final = 1 << 14
_FAULTS: Final = (
    requests.ConnectionError, requests.Timeout, requests.exceptions.ChunkedEncodingError,
    requests.exceptions.ContentDecodingError,
)  # fmt: skip

Check = Callable[[bytes], None]


class NotThereError(FetchError):
    """The service has nothing under this address (404)."""


class _LaterError(Exception):
    """What came is no data, but may be next time: the words of the service, seconds to wait."""

    def __init__(self, said: str, wait_s: float | None = None) -> None:
        super().__init__(said)
        self.wait_s = wait_s


@dataclass(frozen=True)
class Reply:
    """A whole reply: its content, the address asked for, when it came, and the data's own date.

    ``dated`` is the day of ``Last-Modified``, empty where the service does not say.
    """

    content: bytes
    address: str
    fetched: str
    dated: str = ""

    @property
    def json(self) -> Any:
        """Content as JSON."""
        return json.loads(self.content)


class Client:
    """Asks services, keeps what they answer.

    Parameters
    ----------
    folder
        Where replies are kept.
    via
        Address that stands in for every host: ``https://a.gov/x`` is asked for at ``VIA/a.gov/x``.
    delay_s, first_wait_s
        Time between two requests to one host, and before the second try.
    timeouts_s
        See :data:`TIMEOUTS_S`.
    """

    def __init__(
        self,
        folder: Path,
        *,
        via: str = "",
        delay_s: float = DELAY_S,
        first_wait_s: float = FIRST_WAIT_S,
        timeouts_s: tuple[float, float] = TIMEOUTS_S,
    ) -> None:
        self._folder, self._via = folder, via.rstrip("/")
        self._delay_s, self._first_wait_s, self._timeouts_s = delay_s, first_wait_s, timeouts_s
        self._last: dict[str, float] = {}
        self._given: dict[str, set[str]] = {}
        self._session = requests.Session()
        self._session.headers["User-Agent"] = f"riskmap/{version('riskmap')} (county GIS)"
        self._session.headers["Accept-Encoding"] = "identity"  # so that bytes can be counted

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self._session.close()

    def get(
        self,
        address: str,
        params: Mapping[str, str] | None = None,
        *,
        layer: str,
        data: Mapping[str, str] | None = None,
        check: Check | None = None,
    ) -> Reply:
        """Ask for an address; what is kept and whole is given without asking.

        Parameters
        ----------
        address, params
            What to ask for.
        layer
            For messages.
        data
            Sent as a form by POST, where given.
        check
            Raises ``ValueError`` where the content is not what was asked for; such a reply is not
            kept, and is asked for again.

        Raises
        ------
        NotThereError
            If there is nothing under the address.
        FetchError
            If after :data:`TRIES` tries there is no whole reply of the kind asked for.
        """
        whole = f"{address}?{urlencode(params)}" if params else address
        key = hashlib.sha256(f"{whole}\n{json.dumps(data, sort_keys=True)}".encode()).hexdigest()
        self._given.setdefault(layer, set()).add(key)
        kept = self._kept(key)
        if kept is not None:
            return kept
        wait, said = self._first_wait_s, ""
        for attempt in range(TRIES):
            try:
                return self._ask(whole, data, layer, key, check)
            except _LaterError as error:
                said = str(error)
                pause = wait if error.wait_s is None else error.wait_s
            except _FAULTS as error:
                said, pause = _short(error), wait
            except requests.RequestException as error:
                raise FetchError(layer, f"{_host(whole)}: {_short(error)}.", LATER) from error
            if pause > MOST_WAIT_S:
                raise FetchError(layer, f"{_host(whole)} asks to wait {pause:,.0f} s.", LATER)
            if attempt < TRIES - 1:
                time.sleep(pause)
            wait = min(2 * wait, MOST_WAIT_S)
        raise FetchError(layer, f"{_host(whole)} gave no data in {TRIES} tries: {said}.", LATER)

    def _ask(
        self,
        address: str,
        data: Mapping[str, str] | None,
        layer: str,
        key: str,
        check: Check | None,
    ) -> Reply:
        self._pace(address)
        part = self._folder / f"{key}.part"
        mark = self._folder / f"{key}.mark"
        headers = {}
        if part.exists() and mark.exists() and data is None:
            headers = {"Range": f"bytes={part.stat().st_size}-", "If-Range": mark.read_text()}
        place = address
        if self._via:
            place = f"{self._via}/{address.split('://', 1)[1]}"
        with self._session.request(
            "GET" if data is None else "POST", place, data=data, headers=headers, stream=True,
            timeout=self._timeouts_s,
        ) as answer:  # fmt: skip
            _judge(answer, layer, address)
            self._store(answer, part, mark, layer)
            dated = answer.headers.get("Last-Modified", "")
        content = part.read_bytes()
        part.unlink()
        mark.unlink(missing_ok=True)
        _refuse_words(content, layer, address)
        if check is not None:
            try:
                check(content)
            except (ValueError, LookupError, TypeError) as error:
                raise _LaterError(_short(error)) from error
        reply = Reply(
            content, address, datetime.now(UTC).isoformat(timespec="seconds"), _day(dated)
        )
        self._keep(key, reply)
        return reply

    def forget(self, layer: str) -> None:
        """Throw away what was given for a layer: together it was no whole answer."""
        for key in self._given.pop(layer, ()):
            (self._folder / f"{key}.json").unlink(missing_ok=True)

    def _pace(self, address: str) -> None:
        host = _host(address)
        rest = self._last.get(host, -self._delay_s) + self._delay_s - time.monotonic()
        if rest > 0:
            time.sleep(rest)
        self._last[host] = time.monotonic()

    def _store(self, answer: requests.Response, part: Path, mark: Path, layer: str) -> None:
        """Write the reply to `part`, after what is there if the service goes on from it."""
        goes_on = answer.status_code == 206
        strong = answer.headers.get("ETag") or answer.headers.get("Last-Modified")
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            if strong and not strong.startswith("W/"):
                mark.write_text(strong)
            else:
                mark.unlink(missing_ok=True)
            with part.open("ab" if goes_on else "wb") as file:
                for piece in answer.iter_content(_PIECE):
                    file.write(piece)
                    if file.tell() > LARGEST_BYTES:
                        part.unlink()
                        raise FetchError(layer, f"a reply of {_host(answer.url)} does not end.")
        except OSError as error:
            if isinstance(error, requests.RequestException):
                raise
            raise OutputError(f"{self._folder} cannot be written: {reason(error)}.") from error

    def _kept(self, key: str) -> Reply | None:
        """Reply kept under a key, if it is there and whole."""
        try:
            about = json.loads((self._folder / f"{key}.json").read_text(encoding="utf-8"))
            content = (self._folder / f"{key}.bin").read_bytes()
            if hashlib.sha256(content).hexdigest() != about["sha256"]:
                return None
            return Reply(content, about["address"], about["fetched"], about["dated"])
        except (OSError, ValueError, LookupError, TypeError):
            return None

    def _keep(self, key: str, reply: Reply) -> None:
        about = {
            "address": reply.address, "fetched": reply.fetched, "dated": reply.dated,
            "sha256": hashlib.sha256(reply.content).hexdigest(),
        }  # fmt: skip
        try:
            (self._folder / f"{key}.bin").write_bytes(reply.content)
            (self._folder / f"{key}.json").write_text(json.dumps(about), encoding="utf-8")
        except OSError as error:
            raise OutputError(f"{self._folder} cannot be written: {reason(error)}.") from error


def _judge(answer: requests.Response, layer: str, address: str) -> None:
    """Tell by its status whether an answer holds data, may later, or never will."""
    code = answer.status_code
    if code in AGAIN:
        raise _LaterError(f"answer {code}", _retry_after(answer.headers.get("Retry-After")))
    if code in (404, 410):
        raise NotThereError(layer, f"{_host(address)} has nothing under {address}.", LATER)
    if code == 416:
        raise _LaterError("the file has changed")
    if code not in (200, 206):
        said = f"{_host(address)} refuses the request (answer {code})."
        raise FetchError(layer, said, "The service may have changed: get the file by hand.")


def _retry_after(said: str | None) -> float | None:
    """Seconds to wait: a number, or a date (RFC 9110)."""
    if not said:
        return None
    if said.strip().isdigit():
        return float(said)
    try:
        return max(0.0, (parsedate_to_datetime(said) - datetime.now(UTC)).total_seconds())
    except (ValueError, TypeError):
        return None


def _refuse_words(content: bytes, layer: str, address: str) -> None:
    """Take a page of words, or an error in JSON, that comes as if it were data, for no data."""
    head = content[:4000]
    try:
        refuse_disguise(head, _host(address), layer)
    except LayerError as error:
        if "packed archive" not in error.problem:
            words = " ".join(error.problem.split()).rstrip(".")
            raise _LaterError(words) from error
    if not content.strip():
        raise _LaterError("an empty reply")


def _day(stamp: str) -> str:
    try:
        return parsedate_to_datetime(stamp).date().isoformat()
    except (ValueError, TypeError):
        return ""


def _host(address: str) -> str:
    return urlsplit(address).netloc


def _short(error: Exception) -> str:
    words = {
        requests.ConnectTimeout: "no connection in time",
        requests.Timeout: "no answer in time",
    }
    told = next((said for kind, said in words.items() if isinstance(error, kind)), "")
    return told or " ".join(str(error).split())[:160]
