//! Serial ports: open, lose, reopen. The only room that names serialport.
