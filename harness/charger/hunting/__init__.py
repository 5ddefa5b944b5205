"""The hunt of the role `charger`: drawn traces, and how a failing one is made short.

`harness.hunt` runs, judges, examines and shortens; here is what only a charger needs: settings and
traces that come near every rule, in a small bank behind a line, and what makes a trace of it plainer.
"""
