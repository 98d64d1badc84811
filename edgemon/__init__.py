"""edgemon: from a sensor's message to an alarm on the board. The tour, in the order of the data path.

    model      the words: ids, instants, messages, levels, limits, alarm states, events
    decode     bytes to readings and captures            analysis   captures to levels, and whether they are fit
    alarms     levels to alarm states                    diagnosis  spectra and machine facts to findings
    trend      levels over time to baselines, changes and forecasts
    planning   battery life and radio links, before a sensor is mounted
    engine     joins the four; pure                      settings   files to model values
    store      door to SQLite                            mqtt       door to Paho
    api        door to people and programs (HTTP)        board      the operator's terminal, its own process
    upstream, plant, report                              doors to the systems above, the plant network, the reader
    daemon     chooses implementations, starts tasks     cli        one file per command

Start reading at `model/event.py`, `engine.py`, `alarms/table.py`, `daemon/path.py`.
"""

__version__ = "0.1.0"
