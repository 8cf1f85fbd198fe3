"""Flask blueprints: parse, call one service, render."""
