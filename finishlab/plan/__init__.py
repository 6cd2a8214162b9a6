"""Plans of the stair: quantities, cutting, calendar, riser check, floor purchase; from what is typed or logged."""
