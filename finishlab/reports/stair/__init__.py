"""The stair as it is shown: pictures, text and documents."""
