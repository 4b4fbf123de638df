"""A mail server for the demo: it takes mail on loopback and lays it in a folder to be read."""

from __future__ import annotations

import asyncio
import email
import email.policy
import re
import socket
import threading
from typing import TYPE_CHECKING, Self

from aiosmtpd.smtp import SMTP

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

    from aiosmtpd.smtp import Envelope, Session


class _Folder:
    """Writes each accepted message as one text file, numbered, with its picture beside it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._count = 0

    # The method's name and arguments are those the mail server library looks for.
    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802, ARG002
        """Keep one message, then say it is accepted."""
        raw = envelope.original_content or b""
        message = email.message_from_bytes(raw, policy=email.policy.default)
        body = message.get_body(("plain", "html"))
        text = body.get_content() if body is not None else ""
        self._count += 1
        subject = str(message["Subject"] or "no subject")
        words = re.sub(r"\W+", "-", subject)[:60].strip("-")
        lines = [
            f"To: {', '.join(envelope.rcpt_tos)}",
            f"From: {envelope.mail_from}",
            f"Subject: {subject}",
            "",
            text,
        ]
        written = self._folder / f"{self._count:03d}-{words}.txt"
        written.write_text("\n".join(lines), encoding="utf-8")
        for part in message.iter_attachments():
            if part.get_content_type() == "image/png":
                written.with_suffix(".png").write_bytes(part.get_content())
        return "250 Kept"


class Postbox:
    """A running mail server on loopback, on a port of its own, whose mail lands in `folder`."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = _Folder(folder)
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._serve, name="postbox", daemon=True)

    @property
    def address(self) -> str:
        """How the alert service reaches it, as the mail_server setting."""
        host, port = self._listening.getsockname()[:2]
        return f"smtp://{host}:{port}"

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        server = self._loop.run_until_complete(
            self._loop.create_server(
                lambda: SMTP(self._folder, enable_SMTPUTF8=True, loop=self._loop),
                sock=self._listening,
            )
        )
        self._loop.run_forever()
        server.close()
        self._loop.run_until_complete(server.wait_closed())
        self._loop.close()

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(timeout=5)
