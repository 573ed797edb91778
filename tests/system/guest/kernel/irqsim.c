// SPDX-License-Identifier: GPL-2.0
// The kernel's own simulator of interrupts, which gpio-sim needs and Debian leaves out, as a module.
#include <linux/irq.h>
#include <linux/irqdesc.h>
#include <linux/module.h>
// modules may not call irq_to_desc(), but irq_get_irq_data() leads to the same
#define irq_to_desc(irq) container_of(irq_get_irq_data(irq), struct irq_desc, irq_data)
#include "irq_sim.c"
MODULE_LICENSE("GPL");
