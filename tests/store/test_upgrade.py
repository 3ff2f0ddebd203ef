"""An earlier file brought to blocks known by vineyard and label.

Modules: trunkwatch.store: upgrade, schema, one_name
"""
