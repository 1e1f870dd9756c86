"""What can go wrong, in words a photographer can act on. No HTTP in here."""


class StudioError(Exception):
    """Something asked for cannot be done; the message says what, and what is allowed."""


class OutOfRange(StudioError):
    """A value lies outside what is allowed; the message names field, value and range."""


class NotFound(StudioError):
    """A named head, point or look does not exist; the message names it."""


class Refused(StudioError):
    """The request is well-formed but cannot be met now; the message says why and what to do."""


class WouldTrip(Refused):
    """The light asked for would pass a breaker's rating; it is made when asked for all the same."""
