"""The network as arrays: what the layers say after joining, and questions about its shape.

From layers to a network: `contract` and `vocabulary` hold the input contract, `raw_layers` what a source
gave, `normalised_layers` the typed lines and points of it, `pipe_joining`, `point_placement` and
`customer_attachment` the joints, and `build` puts them together into the tables of `model`.

Of a network: `topology` answers connectivity questions, `work_section` reads work sections,
`linear_reference` turns chainages into coordinates, `extract` and `subnetwork` take parts out of it, `checks`
looks for faults in the data, and `repair` mends what is safe to mend.
"""
