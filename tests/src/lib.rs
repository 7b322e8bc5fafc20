//! What the tests share: the program under test as a process, and the naive model of what a printer did.
