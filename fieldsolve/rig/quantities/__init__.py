"""Numbers of the workshop that the card shows below its checks, each where the rig and its shot give what it needs."""
