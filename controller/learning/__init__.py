"""What a tent's own record tells of the tent: grey-box identification. Pure, standard library only.

A physical model with few parameters is run through the recorded intake air, fan and lamp, and its
parameters are moved until it gives the recorded temperature and humidity.
"""
