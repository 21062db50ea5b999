"""Logger files as houses mostly see them, by hand; see layouts.py for how to read them."""

from __future__ import annotations

from tests.unit.store.loggers.layouts import RH, T, layout, options

layout(
    "semicolons, decimal comma, date and time apart, row counter, CP1252 degree sign",
    """
No.;Date;Time;Temp(°C);RH(%);Dew point;Battery
1;03.11.2026;23:50:00;14,2;81,5;11,0;3,6
2;03.11.2026;23:55:00;14,3;81,0;11,0;3,6
3;04.11.2026;00:00:00;14,2;80,5;10,9;3,6
""",
    {
        f"D2/{T}": [("2026-11-03 22:50", 14.2), ("2026-11-03 22:55", 14.3), ("2026-11-03 23:00", 14.2)],
        f"D2/{RH}": [("2026-11-03 22:50", 81.5), ("2026-11-03 22:55", 81.0), ("2026-11-03 23:00", 80.5)],
    },
    encoding="cp1252",
    options=options(room="D2"),
    says=("CP1252", "semicolons", "comma", "Dew point, Battery"),
)
layout(
    "wide with many rooms, units in a second heading row, ISO without offset",
    """
Timestamp,Room D1 T,Room D1 RH,Room D2 T,Room D2 RH
,°C,%,°F,%
2026-07-17 23:30,14.0,82,57.2,83
2026-07-17 23:40,14.1,82.5,59,84
""",
    {
        f"D1/{T}": [("2026-07-17 21:30", 14.0), ("2026-07-17 21:40", 14.1)],
        f"D1/{RH}": [("2026-07-17 21:30", 82.0), ("2026-07-17 21:40", 82.5)],
        f"D2/{T}": [("2026-07-17 21:30", 14.0), ("2026-07-17 21:40", 15.0)],
        f"D2/{RH}": [("2026-07-17 21:30", 83.0), ("2026-07-17 21:40", 84.0)],
    },
    says=("°F by its heading, kept in °C",),
)
layout(
    "long: device, moment with Z, channel, value, unit, quality",
    """
device_id,timestamp,channel,value,unit,quality
L-07,2026-11-03T10:00:00Z,temp,57.2,°F,good
L-07,2026-11-03T10:00:00Z,rh,80.0,%,good
L-07,2026-11-03T10:05:00Z,temp,59.0,°F,good
L-07,2026-11-03T10:05:00Z,rh,80.5,%,bad
""",
    {
        f"D2/{T}": [("2026-11-03 10:00", 14.0), ("2026-11-03 10:05", 15.0)],
        f"D2/{RH}": [("2026-11-03 10:00", 80.0)],
    },
    options=options(rooms={"D1": "drying", "D2": "drying"}, loggers={"L-07": "D2"}),
    refused=(5,),
)
layout(
    "month first by evidence (a second field above 12), AM and PM",
    """
"Date/Time","Temperature (F)","Humidity (%RH)"
11/12/2026 11:50 PM,57.2,80
11/13/2026 12:00 AM,57.2,81
11/13/2026 12:10 AM,59.0,82
11/13/2026 12:10 PM,59.0,83
""",
    {
        f"D2/{T}": [
            ("2026-11-13 04:50", 14.0),
            ("2026-11-13 05:00", 14.0),
            ("2026-11-13 05:10", 15.0),
            ("2026-11-13 17:10", 15.0),
        ],
        f"D2/{RH}": [
            ("2026-11-13 04:50", 80.0),
            ("2026-11-13 05:00", 81.0),
            ("2026-11-13 05:10", 82.0),
            ("2026-11-13 17:10", 83.0),
        ],
    },
    # New York is UTC-5 in winter.
    options=options(room="D2", zone="America/New_York"),
    says=("month, day, year",),
)
layout(
    "UTF-16 with byte mark, tabs, Italian headings",
    """
Data\tOra\tTemperatura (°C)\tU.R. (%)
25/11/2026\t08:00\t12,5\t78
25/11/2026\t08:15\t12,6\t79
""",
    {
        f"H3/{T}": [("2026-11-25 07:00", 12.5), ("2026-11-25 07:15", 12.6)],
        f"H3/{RH}": [("2026-11-25 07:00", 78.0), ("2026-11-25 07:15", 79.0)],
    },
    encoding="utf-16",
    options=options(room="H3"),
    says=("UTF-16", "tabs"),
)
layout(
    "notes of the logger first, its zone among them, blank line, German headings",
    """
Seriennummer: 40211
Messort: D1
Start: 03.11.2026 10:00
Zeitzone: UTC+1
Intervall: 10 min
Max: 15,0

Datum;Uhrzeit;Temperatur [°C];rel. Feuchte [%]
03.11.2026;10:00;14,0;80,0
03.11.2026;10:10;14,1;80,2
13.11.2026;10:20;14,2;80,4
""",
    {
        f"D1/{T}": [("2026-11-03 09:00", 14.0), ("2026-11-03 09:10", 14.1), ("2026-11-13 09:20", 14.2)],
        f"D1/{RH}": [("2026-11-03 09:00", 80.0), ("2026-11-03 09:10", 80.2), ("2026-11-13 09:20", 80.4)],
    },
    options=options(rooms={"D1": "drying", "D2": "drying"}),
    says=("The file says its clock runs in UTC+1",),
)
layout(
    "Spanish headings, bars, two-digit years, local a. m. and p. m.",
    """
Fecha|Hora|Temperatura °C|H.R. %
13/11/26|11:59 a. m.|14.0|80
13/11/26|12:09 p. m.|14.2|81
13/11/26|01:09 p. m.|14.4|82
""",
    {
        f"A1/{T}": [("2026-11-13 10:59", 14.0), ("2026-11-13 11:09", 14.2), ("2026-11-13 12:09", 14.4)],
        f"A1/{RH}": [("2026-11-13 10:59", 80.0), ("2026-11-13 11:09", 81.0), ("2026-11-13 12:09", 82.0)],
    },
    options=options(room="A1"),
)
layout(
    "event rows and trailing notes mixed in",
    """
Timestamp;Temp °C;RH %
2026-11-03 10:00;;
2026-11-03 10:00;Host connected;
2026-11-03 10:00;14.0;80
2026-11-03 10:03;Button;
2026-11-03 10:05;14.1;81
Stopped by user;;
End of file
""",
    {
        f"D2/{T}": [("2026-11-03 09:00", 14.0), ("2026-11-03 09:05", 14.1)],
        f"D2/{RH}": [("2026-11-03 09:00", 80.0), ("2026-11-03 09:05", 81.0)],
    },
    options=options(room="D2"),
    events=4,
)
layout(
    "missing codes of many makes",
    """
Timestamp,Temp (°C),RH (%)
2026-11-03 10:00,---,80
2026-11-03 10:05,NaN,81
2026-11-03 10:10,OL,82
2026-11-03 10:15,-127,0
2026-11-03 10:20,85.0,101
2026-11-03 10:25,-999,83
2026-11-03 10:30,14.0,Err
2026-11-03 10:35,14.1,100.2
""",
    {
        f"D2/{T}": [("2026-11-03 09:30", 14.0), ("2026-11-03 09:35", 14.1)],
        f"D2/{RH}": [
            ("2026-11-03 09:00", 80.0),
            ("2026-11-03 09:05", 81.0),
            ("2026-11-03 09:10", 82.0),
            ("2026-11-03 09:25", 83.0),
            ("2026-11-03 09:35", 100.2),
        ],
    },
    options=options(room="D2"),
    missing=9,
)
layout(
    "spreadsheet day numbers: 46351.25 is 25 November 2026, 06:00",
    """
Date,Temp (C),RH
46351.25,14.0,80
46351.260416667,14.5,81
""",
    {
        f"D2/{T}": [("2026-11-25 05:00", 14.0), ("2026-11-25 05:15", 14.5)],
        f"D2/{RH}": [("2026-11-25 05:00", 80.0), ("2026-11-25 05:15", 81.0)],
    },
    options=options(room="D2"),
    says=("counted from 1900",),
)
layout(
    "the hour of the autumn change twice, by order in the file (25 October 2026)",
    """
Timestamp,Temp (°C)
2026-10-25 01:30,10
2026-10-25 02:00,11
2026-10-25 02:30,12
2026-10-25 02:00,13
2026-10-25 02:30,14
2026-10-25 03:00,15
""",
    {
        f"D2/{T}": [
            ("2026-10-24 23:30", 10.0),
            ("2026-10-25 00:00", 11.0),
            ("2026-10-25 00:30", 12.0),
            ("2026-10-25 01:00", 13.0),
            ("2026-10-25 01:30", 14.0),
            ("2026-10-25 02:00", 15.0),
        ]
    },
    options=options(room="D2"),
    says=("twice", "4 rows of the hour", "No gaps"),
)
layout(
    "the spring change is no gap (29 March 2026)",
    """
Timestamp,Temp (°C)
2026-03-29 01:00,10
2026-03-29 01:30,11
2026-03-29 03:00,12
2026-03-29 03:30,13
""",
    {
        f"D2/{T}": [
            ("2026-03-29 00:00", 10.0),
            ("2026-03-29 00:30", 11.0),
            ("2026-03-29 01:00", 12.0),
            ("2026-03-29 01:30", 13.0),
        ]
    },
    options=options(room="D2"),
    says=("skips the hour of the spring change", "No gaps"),
)
layout(
    "a logger that stays on standard time shows the hour that summer time skips",
    """
Timestamp,Temp (°C)
2026-03-29 01:30,10
2026-03-29 02:00,11
2026-03-29 02:30,12
2026-03-29 03:00,13
""",
    {
        f"D2/{T}": [
            ("2026-03-29 00:30", 10.0),
            ("2026-03-29 01:00", 11.0),
            ("2026-03-29 01:30", 12.0),
            ("2026-03-29 02:00", 13.0),
        ]
    },
    options=options(room="D2"),
    says=("standard time of Europe/Vienna all year",),
)
layout(
    "written offsets win over every zone",
    """
Timestamp,Temp (°C)
2026-10-25T02:30:00+02:00,10
2026-10-25T02:30:00+01:00,11
""",
    {f"D2/{T}": [("2026-10-25 00:30", 10.0), ("2026-10-25 01:30", 11.0)]},
    options=options(room="D2", zone="Asia/Tokyo"),
)
layout(
    "units in the cells, quoted, leading apostrophes and blanks",
    """
"Time";"Temp";"RH"
"13.11.2026 10:00";" 14.2 °C";"81%"
"13.11.2026 10:10";"'14.4 °C";"82 %"
""",
    {
        f"D2/{T}": [("2026-11-13 09:00", 14.2), ("2026-11-13 09:10", 14.4)],
        f"D2/{RH}": [("2026-11-13 09:00", 81.0), ("2026-11-13 09:10", 82.0)],
    },
    options=options(room="D2", role="drying"),
)
