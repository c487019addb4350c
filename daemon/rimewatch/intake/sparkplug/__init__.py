"""Sparkplug B 3.0 (ISO/IEC 20237:2023): who speaks, what their messages hold, what they mean."""
