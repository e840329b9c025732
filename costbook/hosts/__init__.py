"""Workbooks where they live, behind one port of three calls: snapshot, apply, close."""
