"""The network as arrays: what the layers say after joining, and questions about its shape.

`words` and `layers` hold the input contract, `model` the tables, `build` joins layers into a network,
`graph` answers connectivity questions, `section` reads work sections, `place` turns chainages into
coordinates, `checks` looks for faults in the data.
"""
