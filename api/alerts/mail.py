"""Mail to a server on this machine, handed over without preparing for encryption first."""

from __future__ import annotations

import contextlib
import smtplib
import warnings
from typing import TYPE_CHECKING

with warnings.catch_warnings():
    # An optional part of it asks for a module that is on its way out of the standard library.
    warnings.simplefilter("ignore", DeprecationWarning)
    from apprise import NotifyType
    from apprise.plugins.email import NotifyEmail

if TYPE_CHECKING:
    import apprise

PLAIN = "insecure"


class Mail(NotifyEmail):  # type: ignore[no-untyped-call]
    """A mail as the library makes it.

    It reads every certificate that the machine trusts before each mail, also where nothing is
    encrypted: fifty thousandths of a second a mail, most of what a burst of alarms waits for.
    """

    def send(
        self,
        body: str,
        title: str = "",
        notify_type: apprise.NotifyType = NotifyType.INFO,
        attach: object = None,
        body_format: apprise.NotifyFormat | None = None,
        **other: object,
    ) -> bool:
        """Return whether the server accepted the mail; why it did not is in the log entries."""
        if self.secure_mode != PLAIN:
            sent: bool = super().send(  # type: ignore[no-untyped-call]
                body=body,
                title=title,
                notify_type=notify_type,
                attach=attach,
                body_format=body_format,
                **other,
            )
            return sent
        smtp: smtplib.SMTP | None = None
        try:
            smtp = smtplib.SMTP(
                str(self.smtp_host), self.port or 25, timeout=float(self.socket_connect_timeout)
            )
            if self.user and self.password:
                smtp.login(self.user, self.password)
            for message in NotifyEmail.prepare_emails(
                subject=title,
                body=body,
                notify_format=self.resolve_format(body_format),
                from_addr=self.from_addr,
                to=self.targets,
                reply_to=self.reply_to,
                smtp_host=self.smtp_host,
                attach=attach,
                headers={"X-Application": self.app_id},
                names=self.names,
                tzinfo=self.tzinfo,
            ):
                smtp.sendmail(str(self.from_addr[1]), message.to_addrs, str(message.body))
        except (OSError, smtplib.SMTPException) as trouble:
            self.logger.debug("Socket Exception: %s", trouble)
            return False
        finally:
            if smtp is not None:
                # Once the mail is accepted, a server that goes away changes nothing.
                with contextlib.suppress(OSError, smtplib.SMTPException):
                    smtp.quit()
        return True
