"""A board's stay in the depot: who sent it and why, what was found, what was done, who let it go.

A stay is a *case*, known by its work order. Its *entries* are lines of a chained file in a folder of its own, beside
the runs (`folder`); which entry may follow which is one table (`states`). The records database is an index over both
and can be made again from them (`index`). Questions over many cases are in `questions`, the manager's page in `report`.
"""
