"""What a batch's own log says is to be done by now or soon: settled, dry, look again, acidify the test.

Worked out from entries and one moment each time it is asked for; nothing waits, rings or is kept.
"""
