"""What goes wrong from outside: processes that are killed, clocks that go backwards, two at once, and bad input."""
