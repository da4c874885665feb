"""The fault network: from evidence to posteriors, reasons, draws and the next test."""
