"""E1.31 and Art-Net as octets: values in, packets out, and packets in, values out.

The rule of this room: bytes only. It opens no socket, reads no clock and knows no show, so that whoever sends or
receives can be tried without a network, and a packet without either.
"""
