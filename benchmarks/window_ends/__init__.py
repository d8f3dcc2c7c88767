"""Every end of every window, held at the end itself and broken one step of the grid beyond it."""
