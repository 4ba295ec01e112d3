"""Reads a calendar from standard input with the independent package icalendar
(PyPI or Debian's python3-icalendar) and says what it found, one event a line:
its days, and its UID.
Fails on anything that the package or RFC 5545 refuses."""

import sys

import icalendar

data = sys.stdin.buffer.read()
for line in data.split(b"\r\n"):
    assert len(line) <= 75, line
    assert b"\n" not in line and b"\r" not in line, line
calendar = icalendar.Calendar.from_ical(data)
assert not calendar.errors, calendar.errors
uids = set()
for event in calendar.walk("VEVENT"):
    assert not event.errors, event.errors
    uid = str(event["UID"])
    assert uid not in uids, uid
    uids.add(uid)
    start, end = event.decoded("DTSTART"), event.decoded("DTEND")
    assert start < end, uid
    assert event.decoded("DTSTAMP") and int(event["SEQUENCE"]) > 0
    assert (end - start).days == 1, uid
    more = event.get("RDATE", [])
    more = more if isinstance(more, list) else [more]
    days = [start] + [date.dt for dates in more for date in dates.dts]
    assert days == sorted(set(days)), uid
    print(*days, end="\t")
    print(uid)
