"""The plan: pricing of zones, proof and stopping, states, order, steps, and the plan model."""
