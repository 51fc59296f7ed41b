"""A lamp with a switch: the plan that tests of the command line share."""

LAMP = """plate 6 x 4
title Lamp with a switch
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 switch
C1 resistor 470
D1 corner turn=90
D2 led red anode=up
D3 ground stem=up
"""
