"""What comes in and goes out: the appointment book (`calendar`), the practice's secret key (`key`).

Comes in: files as other programs write them. Goes out: visits with an opaque reference, and findings with file and
line. Never: the name, the record number or any other word about a person; they are dropped at this door.
"""
