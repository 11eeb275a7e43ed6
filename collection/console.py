"""Mail where no mail server is set: printed in the terminal as it reads, so that its links can be copied from there."""

from typing import Any

from django.core.mail.backends import console


class EmailBackend(console.EmailBackend):
    """Prints a mail's text. As mail travels, a long link is cut in two and some letters are written as numbers."""

    def write_message(self, message: Any) -> None:
        """Print whom it is for, what it is about and what it says."""
        self.stream.write(f"To: {', '.join(message.to)}\nSubject: {message.subject}\n\n{message.body}\n{'-' * 79}\n")
