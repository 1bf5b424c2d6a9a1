"""Answers for the figures of a week: pandas on the readings of a store, each day of local time by itself.

Standard input: {"store": path, "zone": IANA name, "week": "2026-W44", "sensors": [{"id", "every_s", "gap_s", "limits": [[low, high] of each
day]}]}. A reading stands until the next one if that comes within the gap, else for its own interval; each day is a mean weighted
by time, and shares of the day: inside, below, above, doubtful (failed), without data.
Standard output: {"hours": [of each day], "days": {"2026-10-26": {id: {"mean", "inside", "below", "above", "doubtful", "missing"}}}}.
"""

import datetime
import json
import sqlite3
import sys
from zoneinfo import ZoneInfo

import pandas as pd

READINGS = """
SELECT reading.at, reading.value, reading.flag FROM reading JOIN sensor ON sensor.key = reading.sensor
WHERE sensor.id = ? ORDER BY reading.at
"""


def midnights(week, zone):
    year, number = week.split("-W")
    monday = datetime.date.fromisocalendar(int(year), int(number), 1)
    dates = [monday + datetime.timedelta(days=n) for n in range(8)]
    local = [datetime.datetime(d.year, d.month, d.day, tzinfo=ZoneInfo(zone)) for d in dates]
    return dates[:7], [pd.Timestamp(moment).tz_convert("UTC") for moment in local]


def standing(db, sensor):
    """Each reading with the time from which and until which it stands."""
    rows = pd.read_sql_query(READINGS, db, params=[sensor["id"]])
    rows["from"] = pd.to_datetime(rows["at"], unit="ms", utc=True)
    step = rows["from"].shift(-1) - rows["from"]
    near = step <= pd.Timedelta(seconds=sensor["gap_s"])
    rows["until"] = rows["from"] + step.where(near, pd.Timedelta(seconds=sensor["every_s"]))
    return rows


def day_of(rows, begin, end, low, high):
    begun, ended = rows["from"].clip(lower=begin), rows["until"].clip(upper=end)
    s = (ended - begun).dt.total_seconds().clip(lower=0.0)
    usable, day = rows["flag"].isin([1, 2, 3]), (end - begin).total_seconds()
    below = usable & (rows["value"] < low) if low is not None else usable & False
    above = usable & (rows["value"] > high) if high is not None else usable & False
    known = float(s[usable].sum())
    share = lambda which: 100.0 * float(s[which].sum()) / day
    return {
        "mean": float((s * rows["value"])[usable].sum()) / known if known > 0.0 else None,
        "inside": share(usable & ~below & ~above),
        "below": share(below),
        "above": share(above),
        "doubtful": share(~usable),
        "missing": 100.0 - 100.0 * float(s.sum()) / day,
    }


def main():
    question = json.load(sys.stdin)
    db = sqlite3.connect(f"file:{question['store']}?mode=ro", uri=True)
    dates, borders = midnights(question["week"], question["zone"])
    spans = list(zip(borders, borders[1:]))
    answer = {date.isoformat(): {} for date in dates}
    for sensor in question["sensors"]:
        rows = standing(db, sensor)
        for date, (begin, end), (low, high) in zip(dates, spans, sensor["limits"]):
            answer[date.isoformat()][sensor["id"]] = day_of(rows, begin, end, low, high)
    hours = [(end - begin).total_seconds() / 3600.0 for begin, end in spans]
    json.dump({"hours": hours, "days": answer}, sys.stdout)


main()
