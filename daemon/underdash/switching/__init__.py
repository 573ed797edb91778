"""How an interface takes part in its bus, switched by a small helper of its own.

Setting up an interface takes a capability (CAP_NET_ADMIN) with which much else could be done, so the daemon does not
have it. It asks `helper`, a process that the service manager starts for one order and that carries out nothing but
the orders of `orders`, on the interfaces of the configuration.
"""
