"""The stair as shapes, coats and days: areas, quantities, cutting, calendar, riser check, floor purchase.

Pure: figures in, figures out. Files, the logbook and the screen are for other rooms.
"""
