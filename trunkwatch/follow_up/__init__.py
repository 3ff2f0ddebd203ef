"""Did the work of the last years hold?"""
