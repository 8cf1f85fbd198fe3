"""The air: units, standard atmosphere, gas laws. Pure: no clock, no files, no random source."""
