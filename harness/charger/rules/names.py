"""The ids of the requirements: they are for ever."""

from __future__ import annotations

CEILING_VOLTAGE = "CEILING.voltage"
CEILING_CURRENT = "CEILING.current"
CEILING_HIGHEST = "CEILING.highest"

LOWERED = "FOLLOW.lowered"
ZERO = "FOLLOW.zero"
SLOPE = "FOLLOW.slope"
REACHES = "FOLLOW.reaches"
KEEPS = "FOLLOW.keeps"

SENSE_BOUNDS = "SENSE.bounds"
DIRECTION = "SENSE.direction"
IDLE = "SENSE.idle"
SENSE_REACHES = "SENSE.reaches"
COMES_DOWN = "SENSE.comes-down"

FALLS_BACK = "STALE.falls-back"
BOUNDS = "STALE.bounds"
NO_RISE = "STALE.no-rise"
OBEYS = "STALE.obeys"
STOPS = "STALE.stops"
IN_ORDER = "STALE.in-order"

RECOVER_WAITS = "RECOVER.waits"
UNBROKEN = "RECOVER.unbroken"
RECOVERS = "RECOVER.follows"

BEGINS_STOPPED = "BEGIN.stopped"
BEGIN_WAITS = "BEGIN.waits"
BEGINS = "BEGIN.follows"

SILENCE = "DOUBT.silence"
NONSENSE = "DOUBT.request"
READING = "DOUBT.reading"
FROZEN = "DOUBT.frozen"
OWN = "DOUBT.own"

EVERY_PACK = "PACKS.every"
LOWEST = "PACKS.voltage"
ONE_ZERO = "PACKS.zero"
HIGHEST_READING = "PACKS.reading"

INVALID = "CLOCK.invalid"
BREAK = "CLOCK.break"
AGES = "CLOCK.ages"

FORGETS = "RESTART.forgets"
