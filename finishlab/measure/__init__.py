"""From a decoded photo to a `Measurement`: the whole way, a step at a time."""
