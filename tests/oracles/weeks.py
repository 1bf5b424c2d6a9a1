"""Answers for ISO weeks and the changes of clocks: Python's isocalendar and zoneinfo.

Standard input: {"zones": [...], "first": year, "last": year, "nows": [seconds since 1970]}. Standard output: for each zone
{"weeks": [[name, start, end, [midnights]], ...], "before": [name of the last full week at each of the nows]}, times in seconds.
"""

import datetime
import json
import sys
from zoneinfo import ZoneInfo


def name(date):
    year, week, _ = date.isocalendar()
    return f"{year:04}-W{week:02}"


def midnight(date, zone):
    return datetime.datetime(date.year, date.month, date.day, tzinfo=zone).timestamp()


def weeks(first, last, zone):
    monday = datetime.date.fromisocalendar(first, 1, 1)
    while monday.isocalendar()[0] <= last:
        days = [midnight(monday + datetime.timedelta(days=n), zone) for n in range(8)]
        yield [name(monday), days[0], days[-1], days[1:-1]]
        monday += datetime.timedelta(days=7)


def last_full(now, zone):
    today = datetime.datetime.fromtimestamp(now, zone).date()
    return name(today - datetime.timedelta(days=7))


def main():
    question = json.load(sys.stdin)
    answer = {}
    for text in question["zones"]:
        zone = ZoneInfo(text)
        found = list(weeks(question["first"], question["last"], zone))
        answer[text] = {"weeks": found, "before": [last_full(now, zone) for now in question["nows"]]}
    json.dump(answer, sys.stdout)


main()
