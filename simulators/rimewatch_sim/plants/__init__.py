"""Plants that the rules were not written beside: to judge them where nobody tuned them.

``bodies`` has the equations (five nets of heat that differ in kind), ``running`` what works on
them (thermostat, defrost, doors, deliveries, failures), ``draw`` draws a shop of a seed, and
``sensing`` what its probes say. They share nothing with ``plant`` but the heat in fish.

Even seeds are for working on the rules, odd ones only for publishing.
Pure, given the seed: no I/O, no clock.
"""
