"""What a person does, one module each. Jobs do not call each other.

May import `cases`, `store` and what lies above them. Read `record.py` first:
everything a person or machine states comes in there.

    receipts = record.enter(house, Stamp(person, device, house.now()), drafts)
"""
