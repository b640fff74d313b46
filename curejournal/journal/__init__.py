"""Rows, files and migrations: the only room that knows SQL.

A journal is append-only. What a maker entered is never updated or deleted;
triggers in the database refuse it too. `store.Journal` is the door.
"""
