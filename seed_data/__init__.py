"""An invented workshop's year: its people, cars and the files they upload. See README.md."""
