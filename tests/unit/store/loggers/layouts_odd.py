"""Logger files with their blemishes, by hand; see layouts.py for how to read them."""

from __future__ import annotations

from tests.unit.store.loggers.layouts import RH, T, layout, options

layout(
    "comma file with quoted decimal commas",
    """
Datum,Temperatur (°C),r.F. (%)
"13.11.2026 10:00","14,2","81,5"
"13.11.2026 10:10","14,3","81,0"
""",
    {
        f"D2/{T}": [("2026-11-13 09:00", 14.2), ("2026-11-13 09:10", 14.3)],
        f"D2/{RH}": [("2026-11-13 09:00", 81.5), ("2026-11-13 09:10", 81.0)],
    },
    options=options(room="D2"),
)
layout(
    "fixed width, columns apart by two blanks or more",
    """
Date        Time      Temp(C)   RH(%)
2026-11-13  10:00:00  +14.20    81.50
2026-11-13  10:10:00  +14.30    81.00
""",
    {
        f"D2/{T}": [("2026-11-13 09:00", 14.2), ("2026-11-13 09:10", 14.3)],
        f"D2/{RH}": [("2026-11-13 09:00", 81.5), ("2026-11-13 09:10", 81.0)],
    },
    options=options(room="D2"),
)
layout(
    "month names in German",
    """
Zeit;Temp. °C;Feuchte %
13. März 2026 10:00;14,2;81
13. März 2026 10:10;14,3;82
3. Mai 2026 10:20;14,4;83
""",
    {
        f"D2/{T}": [("2026-03-13 09:00", 14.2), ("2026-03-13 09:10", 14.3), ("2026-05-03 08:20", 14.4)],
        f"D2/{RH}": [("2026-03-13 09:00", 81.0), ("2026-03-13 09:10", 82.0), ("2026-05-03 08:20", 83.0)],
    },
    options=options(room="D2"),
    says=("Dates name their month",),
)
layout(
    "Unix seconds and milliseconds (1793700000 is 3 November 2026, 10:00 UTC)",
    """
ts,device,temperature,humidity
1793700000,L-1,14.0,80
1793700300000,L-1,14.5,81
""",
    {
        f"D2/{T}": [("2026-11-03 10:00", 14.0), ("2026-11-03 10:05", 14.5)],
        f"D2/{RH}": [("2026-11-03 10:00", 80.0), ("2026-11-03 10:05", 81.0)],
    },
    options=options(rooms={"D2": "drying"}, loggers={"L-1": "D2"}),
)
layout(
    "a device column beside wide values: two loggers in one file",
    """
Logger;Zeitstempel;Temp;Feuchte
L-1;13.11.2026 10:00;14,0;80
L-2;13.11.2026 10:00;22,0;92
L-1;13.11.2026 10:10;14,1;80
L-2;13.11.2026 10:10;22,1;92
""",
    {
        f"D2/{T}": [("2026-11-13 09:00", 14.0), ("2026-11-13 09:10", 14.1)],
        f"D2/{RH}": [("2026-11-13 09:00", 80.0), ("2026-11-13 09:10", 80.0)],
        f"F1/{T}": [("2026-11-13 09:00", 22.0), ("2026-11-13 09:10", 22.1)],
        f"F1/{RH}": [("2026-11-13 09:00", 92.0), ("2026-11-13 09:10", 92.0)],
    },
    options=options(rooms={"D2": "drying", "F1": "fermenting"}, loggers={"L-1": "D2", "L-2": "F1"}),
)
layout(
    "out of order blocks and exact repeats from an overlapping download",
    """
Timestamp,Temp (°C)
2026-11-03 10:10,14.2
2026-11-03 10:15,14.3
2026-11-03 10:00,14.0
2026-11-03 10:05,14.1
2026-11-03 10:10,14.2
""",
    {
        f"D2/{T}": [
            ("2026-11-03 09:00", 14.0),
            ("2026-11-03 09:05", 14.1),
            ("2026-11-03 09:10", 14.2),
            ("2026-11-03 09:15", 14.3),
        ]
    },
    options=options(room="D2"),
    says=("1 value repeats", "1 step back"),
)
layout(
    "a block of a clock that fell back to 2000 is left out",
    """
Timestamp,Temp (°C)
2026-11-03 10:00,14.0
2000-01-01 00:00,14.1
2000-01-01 00:05,14.2
2026-11-03 10:15,14.3
""",
    {f"D2/{T}": [("2026-11-03 09:00", 14.0), ("2026-11-03 09:15", 14.3)]},
    options=options(room="D2"),
    says=("Lines 3 to 4 carry the date of a clock that lost it (2000)",),
)
layout(
    "the same block given back its time by an answer",
    """
Timestamp,Temp (°C)
2026-11-03 10:00,14.0
2000-01-01 00:00,14.1
2000-01-01 00:05,14.2
2026-11-03 10:15,14.3
""",
    {
        f"D2/{T}": [
            ("2026-11-03 09:00", 14.0),
            ("2026-11-03 09:05", 14.1),
            ("2026-11-03 09:10", 14.2),
            ("2026-11-03 09:15", 14.3),
        ]
    },
    options=options(room="D2", answers={"clock_reset.1": "2026-11-03T10:05"}),
)
layout(
    "merged cells over the headings, broken degree signs",
    """
;Room D1;;Room D2;
Date;T [\ufffdC];RH [%];T [deg F];RH [%]
13.11.2026 10:00;14,0;80;57,2;82
13.11.2026 10:10;14,1;81;59,0;83
""",
    {
        f"D1/{T}": [("2026-11-13 09:00", 14.0), ("2026-11-13 09:10", 14.1)],
        f"D1/{RH}": [("2026-11-13 09:00", 80.0), ("2026-11-13 09:10", 81.0)],
        f"D2/{T}": [("2026-11-13 09:00", 14.0), ("2026-11-13 09:10", 15.0)],
        f"D2/{RH}": [("2026-11-13 09:00", 82.0), ("2026-11-13 09:10", 83.0)],
    },
)
layout(
    "daily minimum, maximum and mean: the mean alone is read",
    """
Date,Temp min (°C),Temp max (°C),Temp avg (°C)
2026-11-01,13.0,15.0,14.0
2026-11-02,13.1,15.1,14.1
""",
    {f"D2/{T}": [("2026-10-31 23:00", 14.0), ("2026-11-01 23:00", 14.1)]},
    options=options(room="D2"),
    says=("Temp min (°C), Temp max (°C)",),
)
layout(
    "humidity as a fraction, temperature without a unit in a drying room",
    """
time,T,RH
2026-11-03 10:00,57.2,0.80
2026-11-03 10:05,59.0,0.82
""",
    {
        f"D2/{T}": [("2026-11-03 09:00", 14.0), ("2026-11-03 09:05", 15.0)],
        f"D2/{RH}": [("2026-11-03 09:00", 80.0), ("2026-11-03 09:05", 82.0)],
    },
    options=options(room="D2", role="drying"),
    says=("in a drying room that can only be °F", "is a fraction"),
)
layout(
    "classic Macintosh: carriage returns and MacRoman degree sign",
    "Date;Temp °C\r13.11.2026 10:00;14,0\r13.11.2026 10:10;14,1\r",
    {f"D2/{T}": [("2026-11-13 09:00", 14.0), ("2026-11-13 09:10", 14.1)]},
    encoding="mac-roman",
    options=options(room="D2"),
)
layout(
    "UTF-16 without byte mark, packed dates",
    """
stamp;timestamp;Temp °C
1;20261113T100000;14.0
2;20261113T101000;14.1
""",
    {f"D2/{T}": [("2026-11-13 09:00", 14.0), ("2026-11-13 09:10", 14.1)]},
    encoding="utf-16-le",
    options=options(room="D2"),
)
layout(
    "a midnight that a spreadsheet printed without its time",
    """
Timestamp,Temp (°C)
13/11/2026 23:50,14.0
14/11/2026,14.1
14/11/2026 0:10,14.2
""",
    {f"D2/{T}": [("2026-11-13 22:50", 14.0), ("2026-11-13 23:00", 14.1), ("2026-11-13 23:10", 14.2)]},
    options=options(room="D2"),
)
layout(
    "seconds cut off: two readings a minute are spread over it",
    """
Timestamp,Temp (°C)
2026-11-03 10:00,14.0
2026-11-03 10:00,14.1
2026-11-03 10:01,14.2
2026-11-03 10:01,14.3
2026-11-03 10:02,14.4
2026-11-03 10:02,14.5
2026-11-03 10:03,14.6
2026-11-03 10:03,14.7
""",
    {
        f"D2/{T}": [
            ("2026-11-03 09:00:00", 14.0),
            ("2026-11-03 09:00:30", 14.1),
            ("2026-11-03 09:01:00", 14.2),
            ("2026-11-03 09:01:30", 14.3),
            ("2026-11-03 09:02:00", 14.4),
            ("2026-11-03 09:02:30", 14.5),
            ("2026-11-03 09:03:00", 14.6),
            ("2026-11-03 09:03:30", 14.7),
        ]
    },
    options=options(room="D2"),
    says=("2 readings a minute",),
)
layout(
    "day first by its steps alone: midnight is crossed once",
    """
Date;Temp °C
03/11/2026 23:50;14,0
04/11/2026 00:00;14,1
04/11/2026 00:10;14,2
""",
    {f"D2/{T}": [("2026-11-03 22:50", 14.0), ("2026-11-03 23:00", 14.1), ("2026-11-03 23:10", 14.2)]},
    options=options(room="D2"),
    says=("only so do the readings follow",),
)
layout(
    "the room named by the file's name; heading 'GMT+01:00' in a column",
    """
"#","Date Time, GMT+01:00","Temp, °C","RH, %"
1,11/13/26 10:00:00 AM,14.2,81.5
2,11/13/26 10:10:00 AM,14.3,81.0
""",
    {
        f"D1/{T}": [("2026-11-13 09:00", 14.2), ("2026-11-13 09:10", 14.3)],
        f"D1/{RH}": [("2026-11-13 09:00", 81.5), ("2026-11-13 09:10", 81.0)],
    },
    options=options(rooms={"D1": "drying", "D2": "drying"}, file_name="D1_2026-11.csv"),
)
layout(
    "single bad cells are refused with their line, the rest is taken",
    """
Timestamp,Temp (°C),RH (%)
2026-11-03 10:00,14.0,80
2026-11-03 10:05,1x4,81
2026-11-03 10:75,14.2,82
2026-13-03 10:15,14.3,83
2026-11-03 10:20,400,84
2026-11-03 10:25,14.5,85,9
2026-11-03 10:30,14.6,86
""",
    {
        f"D2/{T}": [("2026-11-03 09:00", 14.0), ("2026-11-03 09:30", 14.6)],
        f"D2/{RH}": [
            ("2026-11-03 09:00", 80.0),
            ("2026-11-03 09:05", 81.0),
            ("2026-11-03 09:20", 84.0),
            ("2026-11-03 09:30", 86.0),
        ],
    },
    options=options(room="D2", answers={"refused_rows": "leave_out"}),
    refused=(3, 4, 5, 6, 7),
)
layout(
    "a clock nine minutes fast, taken off by an answer",
    """
Timestamp,Temp (°F)
2026-07-17 23:49,57.2
2026-07-17 23:54,59.0
""",
    {f"D2/{T}": [("2026-07-17 21:40", 14.0), ("2026-07-17 21:45", 15.0)]},
    options=options(room="D2", answers={"clock_fast_seconds": "540"}),
)
