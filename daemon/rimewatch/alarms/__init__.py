"""Alarm life cycle, priorities, night policy and escalation (IEC 62682 / ISA-18.2). Pure."""
