"""The app's own colours, dark and light; every state also has a word and a shape."""

from textual.theme import Theme

THEMES = (
    Theme(
        name="night watch",
        primary="#4fa3b5",
        secondary="#8aa9b8",
        accent="#e9a178",
        warning="#e3c16f",
        error="#f08a7e",
        success="#86c29b",
        foreground="#dfe7ea",
        background="#0f1a20",
        surface="#15232b",
        panel="#1d303a",
        dark=True,
    ),
    Theme(
        name="day watch",
        primary="#1d6f82",
        secondary="#4d6b78",
        accent="#a34d1c",
        warning="#7a5a00",
        error="#a8261b",
        success="#1f6b3a",
        foreground="#16242b",
        background="#f6f8f7",
        surface="#ecf1f0",
        panel="#dbe6e6",
        dark=False,
    ),
)
