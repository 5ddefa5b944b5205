"""What the exit code of every command means."""

CONFORMS = 0
DOES_NOT_CONFORM = 1
WRONG_USE = 2
NOT_JUDGED = 3
# As a shell reports a program that was ended by the signals SIGINT and SIGPIPE.
INTERRUPTED = 130
READER_GONE = 141
